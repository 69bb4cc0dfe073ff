//! Messages that take several CAN frames: ISO 15765-2, with the address in the CAN identifier alone.
//!
//! A lost, doubled or misplaced frame ends its message and is reported with what was expected; the
//! rest of that message is passed over until the next one begins. No message is put together from
//! what is left. A message longer than the limit is reported and not kept.

use std::collections::BTreeMap;

use thiserror::Error;

/// Longest message of the short form: twelve bits of length.
pub const SHORT_FORM_LIMIT: usize = 4095;
/// Identifiers followed at once; a log with more is not one vehicle.
const CHANNEL_LIMIT: usize = 4096;
/// Unused bytes of a frame we write.
const FILL: u8 = 0xCC;

/// One frame, as its first bytes say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Frame<'a> {
    /// A whole message.
    Single(&'a [u8]),
    /// The beginning of a message of `length` bytes.
    First { length: usize, data: &'a [u8] },
    /// A later part; `sequence` counts from 1 and wraps from 15 to 0.
    Consecutive { sequence: u8, data: &'a [u8] },
    /// The receiver's permission to go on.
    FlowControl {
        status: FlowStatus,
        block_size: u8,
        separation_us: Option<u32>,
    },
}

/// What the receiver asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowStatus {
    GoOn,
    Wait,
    Overflow,
}

/// What is wrong with a frame, or with its place in the message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SegmentFault {
    #[error("frame of {found} bytes is too short: {expected}")]
    ShortFrame {
        found: usize,
        expected: &'static str,
    },
    #[error("first byte {found:02X} begins no frame of a segmented message")]
    NotAFrame { found: u8 },
    #[error("message length {length} does not fit this kind of frame")]
    Length { length: usize },
    #[error("message of {length} bytes is above the limit of {limit}")]
    TooLong { length: usize, limit: usize },
    #[error("frame {sequence} continues a message whose beginning is missing")]
    NoBeginning { sequence: u8 },
    #[error(
        "frame {found} came where {expected} was due: frames are lost; {have} of {length} bytes were there"
    )]
    Lost {
        expected: u8,
        found: u8,
        have: usize,
        length: usize,
    },
    #[error("frame {sequence} came twice; {have} of {length} bytes were there")]
    Doubled {
        sequence: u8,
        have: usize,
        length: usize,
    },
    #[error("a new message began when {have} of {length} bytes were there")]
    Interrupted { have: usize, length: usize },
    #[error("the frames end when {have} of {length} bytes were there")]
    Unfinished { have: usize, length: usize },
    #[error("more than {CHANNEL_LIMIT} identifiers carry messages")]
    TooManyChannels,
}

/// Reads the first bytes of a frame of 1 to 64 bytes.
pub fn read_frame(frame: &[u8]) -> Result<Frame<'_>, SegmentFault> {
    let short = |expected| SegmentFault::ShortFrame {
        found: frame.len(),
        expected,
    };
    let (&first, rest) = frame
        .split_first()
        .ok_or(short("a frame has at least one byte"))?;
    let low = usize::from(first & 0x0F);
    match first >> 4 {
        0 => {
            // Frames above eight bytes (CAN FD) have the length in a byte of its own.
            let (length, data) = match (low, rest.split_first()) {
                (0, Some((&length, data))) if frame.len() > 8 => (usize::from(length), data),
                _ => (low, rest),
            };
            if length == 0 {
                return Err(SegmentFault::Length { length });
            }
            data.get(..length)
                .map(Frame::Single)
                .ok_or(short("it holds less than its length says"))
        }
        1 => {
            let (&low_byte, rest) = rest
                .split_first()
                .ok_or(short("a first frame has a length"))?;
            let length = low << 8 | usize::from(low_byte);
            let (length, data) = match (length, rest.split_first_chunk::<4>()) {
                (0, Some((long, data))) => (u32::from_be_bytes(*long) as usize, data),
                _ => (length, rest),
            };
            if length < 8 || length <= data.len() || frame.len() < 8 {
                return Err(SegmentFault::Length { length });
            }
            Ok(Frame::First { length, data })
        }
        2 if rest.is_empty() => Err(short("a consecutive frame has data")),
        2 => Ok(Frame::Consecutive {
            sequence: first & 0x0F,
            data: rest,
        }),
        3 => {
            let [block_size, separation] = *rest
                .first_chunk()
                .ok_or(short("a flow control frame has three bytes"))?;
            let status = match low {
                0 => FlowStatus::GoOn,
                1 => FlowStatus::Wait,
                2 => FlowStatus::Overflow,
                _ => return Err(SegmentFault::NotAFrame { found: first }),
            };
            Ok(Frame::FlowControl {
                status,
                block_size,
                separation_us: separation_us(separation),
            })
        }
        _ => Err(SegmentFault::NotAFrame { found: first }),
    }
}

/// 00 to 7F milliseconds, F1 to F9 hundreds of microseconds; the rest is reserved.
const fn separation_us(byte: u8) -> Option<u32> {
    match byte {
        0x00..=0x7F => Some(byte as u32 * 1000),
        0xF1..=0xF9 => Some((byte - 0xF0) as u32 * 100),
        _ => None,
    }
}

/// What one frame brought. Both can come at once: a new message that cuts off another.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Step {
    pub message: Option<Vec<u8>>,
    pub fault: Option<SegmentFault>,
}

/// Joins the frames of one identifier.
#[derive(Debug, Clone)]
pub struct Joiner {
    limit: usize,
    state: State,
}

#[derive(Debug, Clone)]
enum State {
    Idle,
    Receiving {
        data: Vec<u8>,
        length: usize,
        next: u8,
        part: usize,
    },
    /// A fault was reported; what still comes of that message is passed over.
    PassingOver,
}

impl Default for Joiner {
    fn default() -> Self {
        Joiner::with_limit(SHORT_FORM_LIMIT)
    }
}

impl Joiner {
    /// Keeps messages up to `limit` bytes.
    pub const fn with_limit(limit: usize) -> Self {
        Joiner {
            limit,
            state: State::Idle,
        }
    }

    /// Takes the next frame of the identifier.
    pub fn take(&mut self, frame: &[u8]) -> Step {
        match read_frame(frame) {
            Err(fault) => {
                // What the broken frame was is not known, so the message it was in is not either.
                self.state = State::PassingOver;
                Step {
                    message: None,
                    fault: Some(fault),
                }
            }
            Ok(Frame::FlowControl { .. }) => Step::default(),
            Ok(Frame::Single(data)) => {
                let fault = self.interrupted();
                Step {
                    message: Some(data.to_vec()),
                    fault,
                }
            }
            Ok(Frame::First { length, data }) => {
                let mut fault = self.interrupted();
                if length > self.limit {
                    fault = fault.or(Some(SegmentFault::TooLong {
                        length,
                        limit: self.limit,
                    }));
                    self.state = State::PassingOver;
                } else {
                    let part = frame.len() - 1;
                    self.state = State::Receiving {
                        data: data.to_vec(),
                        length,
                        next: 1,
                        part,
                    };
                }
                Step {
                    message: None,
                    fault,
                }
            }
            Ok(Frame::Consecutive { sequence, data }) => self.go_on(sequence, data),
        }
    }

    /// Tells of a message that was begun and not ended.
    pub fn finish(&mut self) -> Option<SegmentFault> {
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Receiving { data, length, .. } => Some(SegmentFault::Unfinished {
                have: data.len(),
                length,
            }),
            State::Idle | State::PassingOver => None,
        }
    }

    fn interrupted(&mut self) -> Option<SegmentFault> {
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Receiving { data, length, .. } => Some(SegmentFault::Interrupted {
                have: data.len(),
                length,
            }),
            State::Idle | State::PassingOver => None,
        }
    }

    fn go_on(&mut self, sequence: u8, part_data: &[u8]) -> Step {
        let (data, length, next, part) = match &mut self.state {
            State::Receiving {
                data,
                length,
                next,
                part,
            } => (data, *length, next, *part),
            State::PassingOver => return Step::default(),
            State::Idle => {
                self.state = State::PassingOver;
                return Step {
                    message: None,
                    fault: Some(SegmentFault::NoBeginning { sequence }),
                };
            }
        };
        let (have, missing) = (data.len(), length - data.len());
        let fault = if sequence == *next {
            let expected = "only the last frame of a message may be shorter than the first";
            let is_short = part_data.len() < missing.min(part);
            is_short.then_some(SegmentFault::ShortFrame {
                found: part_data.len() + 1,
                expected,
            })
        } else if sequence == (*next + 15) % 16 {
            Some(SegmentFault::Doubled {
                sequence,
                have,
                length,
            })
        } else {
            Some(SegmentFault::Lost {
                expected: *next,
                found: sequence,
                have,
                length,
            })
        };
        if fault.is_some() {
            self.state = State::PassingOver;
            return Step {
                message: None,
                fault,
            };
        }
        data.extend_from_slice(&part_data[..part_data.len().min(missing)]);
        *next = (*next + 1) % 16;
        if data.len() < length {
            return Step::default();
        }
        let message = std::mem::take(data);
        self.state = State::Idle;
        Step {
            message: Some(message),
            fault: None,
        }
    }
}

/// Joins the frames of a whole log, each identifier for itself.
#[derive(Debug, Clone, Default)]
pub struct Channels {
    joiners: BTreeMap<u32, Joiner>,
}

impl Channels {
    /// Takes the next frame of the log.
    pub fn take(&mut self, identifier: u32, frame: &[u8]) -> Step {
        if self.joiners.len() >= CHANNEL_LIMIT && !self.joiners.contains_key(&identifier) {
            return Step {
                message: None,
                fault: Some(SegmentFault::TooManyChannels),
            };
        }
        self.joiners.entry(identifier).or_default().take(frame)
    }

    /// Tells of the messages that were begun and not ended, by identifier.
    pub fn finish(&mut self) -> Vec<(u32, SegmentFault)> {
        let unfinished = self
            .joiners
            .iter_mut()
            .filter_map(|(id, joiner)| joiner.finish().map(|fault| (*id, fault)));
        unfinished.collect()
    }
}

/// The frames of eight bytes that carry a message of 1 to 4095 bytes; `None` for any other length.
pub fn split(message: &[u8]) -> Option<Vec<[u8; 8]>> {
    let length = u16::try_from(message.len())
        .ok()
        .filter(|length| (1..=4095).contains(length))?;
    let frame = |head: &[u8], data: &[u8]| {
        let mut frame = [FILL; 8];
        let bytes = head.iter().chain(data);
        frame
            .iter_mut()
            .zip(bytes)
            .for_each(|(place, byte)| *place = *byte);
        frame
    };
    let [high, low] = length.to_be_bytes();
    if message.len() <= 7 {
        return Some(vec![frame(&[low], message)]);
    }
    let (beginning, rest) = message.split_at(6);
    let mut frames = vec![frame(&[0x10 | high, low], beginning)];
    let sequences = (1..16u8).chain(std::iter::once(0)).cycle();
    frames.extend(
        rest.chunks(7)
            .zip(sequences)
            .map(|(part, sequence)| frame(&[0x20 | sequence], part)),
    );
    Some(frames)
}
