//! Messages of heavy vehicles: the 29-bit identifier, and the packets of long messages (SAE J1939-21).
//!
//! Both the broadcast announcement and the request to send of a connection open a message; its data
//! packets follow. A lost or doubled packet ends the message and is reported; the rest of it is
//! passed over. Messages above 1785 bytes (the extended protocol) are not read.

use std::collections::BTreeMap;

use thiserror::Error;

/// Group of announcements and other connection management: EC00.
pub const CONNECTION_GROUP: u32 = 0xEC00;
/// Group of data packets: EB00.
pub const DATA_GROUP: u32 = 0xEB00;
/// Longest message: 255 packets of seven bytes.
pub const LONGEST: usize = 1785;
/// Address that means everyone.
pub const EVERYONE: u8 = 0xFF;
/// Bytes of a data packet after its number.
const PACKET: usize = 7;

/// A 29-bit identifier taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Identifier {
    /// 0 is the most urgent, 7 the least.
    pub priority: u8,
    /// Parameter group number, 18 bits.
    pub group: u32,
    pub source: u8,
    /// [`EVERYONE`] for groups without a destination.
    pub destination: u8,
}

impl Identifier {
    /// From the identifier of an extended frame; bits above the 29th do not count.
    pub const fn new(identifier: u32) -> Self {
        let format = (identifier >> 16 & 0xFF) as u8;
        let specific = (identifier >> 8 & 0xFF) as u8;
        let page = identifier >> 8 & 0x3_0000;
        // Below F0 the second byte is the destination and no part of the group.
        let (group, destination) = if format < 0xF0 {
            (page | (format as u32) << 8, specific)
        } else {
            (page | (format as u32) << 8 | specific as u32, EVERYONE)
        };
        Identifier {
            priority: (identifier >> 26 & 7) as u8,
            group,
            source: identifier as u8,
            destination,
        }
    }
}

/// What is wrong with a packet, or with its place in the message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum PacketFault {
    #[error("packet of {found} bytes: packets have eight")]
    Size { found: usize },
    #[error("control byte {found:02X} is none of connection management")]
    Control { found: u8 },
    #[error("announced {length} bytes in {packets} packets, which cannot be")]
    Announcement { length: usize, packets: u8 },
    #[error("packet {number} belongs to no announced message")]
    NoBeginning { number: u8 },
    #[error(
        "packet {found} came where {expected} was due: packets are lost; {have} of {length} bytes were there"
    )]
    Lost {
        expected: u8,
        found: u8,
        have: usize,
        length: usize,
    },
    #[error("packet {number} came twice; {have} of {length} bytes were there")]
    Doubled {
        number: u8,
        have: usize,
        length: usize,
    },
    #[error("a new message began when {have} of {length} bytes were there")]
    Interrupted { have: usize, length: usize },
    #[error("the sender gave up when {have} of {length} bytes were there")]
    GivenUp { have: usize, length: usize },
    #[error("the packets end when {have} of {length} bytes were there")]
    Unfinished { have: usize, length: usize },
}

/// A whole message, short or put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    pub group: u32,
    pub source: u8,
    pub destination: u8,
    pub data: Vec<u8>,
}

/// What one frame brought. Both can come at once: an announcement that cuts off another message.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Step {
    pub message: Option<Message>,
    pub fault: Option<PacketFault>,
}

impl Step {
    fn fault(fault: PacketFault) -> Self {
        Step {
            message: None,
            fault: Some(fault),
        }
    }
}

/// Joins the packets of a whole log, each pair of source and destination for itself.
#[derive(Debug, Clone, Default)]
pub struct PacketJoiner {
    // At most 65,536 pairs of addresses, each with one message of at most 1785 bytes.
    open: BTreeMap<(u8, u8), Open>,
}

#[derive(Debug, Clone)]
enum Open {
    Receiving {
        group: u32,
        data: Vec<u8>,
        length: usize,
        next: u8,
    },
    /// A fault was reported; what still comes of that message is passed over.
    PassingOver,
}

impl PacketJoiner {
    /// Takes the next frame. Frames of other groups are whole messages and are handed back as such.
    pub fn take(&mut self, identifier: u32, frame: &[u8]) -> Step {
        let Identifier {
            group,
            source,
            destination,
            ..
        } = Identifier::new(identifier);
        match group {
            CONNECTION_GROUP | DATA_GROUP => match <&[u8; 8]>::try_from(frame) {
                Err(_) => Step::fault(PacketFault::Size { found: frame.len() }),
                Ok(frame) if group == CONNECTION_GROUP => {
                    self.connection((source, destination), *frame)
                }
                Ok(frame) => self.data((source, destination), *frame),
            },
            _ => Step {
                message: Some(Message {
                    group,
                    source,
                    destination,
                    data: frame.to_vec(),
                }),
                fault: None,
            },
        }
    }

    /// Tells of the messages that were begun and not ended, by source and destination.
    pub fn finish(&mut self) -> Vec<((u8, u8), PacketFault)> {
        let unfinished = std::mem::take(&mut self.open)
            .into_iter()
            .filter_map(|(pair, open)| match open {
                Open::Receiving { data, length, .. } => Some((
                    pair,
                    PacketFault::Unfinished {
                        have: data.len(),
                        length,
                    },
                )),
                Open::PassingOver => None,
            });
        unfinished.collect()
    }

    fn connection(&mut self, pair: (u8, u8), frame: [u8; 8]) -> Step {
        let [
            control,
            low,
            high,
            packets,
            _,
            group_low,
            group_middle,
            group_high,
        ] = frame;
        match control {
            // 20 broadcast announcement, 10 request to send.
            0x20 | 0x10 => {
                let fault = self.interrupted(pair);
                let length = usize::from(u16::from_le_bytes([low, high]));
                if length <= 8 || length.div_ceil(PACKET) != usize::from(packets) {
                    self.open.insert(pair, Open::PassingOver);
                    return Step::fault(
                        fault.unwrap_or(PacketFault::Announcement { length, packets }),
                    );
                }
                let group = u32::from_le_bytes([group_low, group_middle, group_high, 0]) & 0x3_FFFF;
                self.open.insert(
                    pair,
                    Open::Receiving {
                        group,
                        data: Vec::new(),
                        length,
                        next: 1,
                    },
                );
                Step {
                    message: None,
                    fault,
                }
            }
            // 11 clear to send and 13 end of message come from the receiver.
            0x11 | 0x13 => Step::default(),
            // FF abort: either side may send it, so it ends whichever direction is open.
            0xFF => {
                let (source, destination) = pair;
                let given_up = [pair, (destination, source)]
                    .into_iter()
                    .find_map(|pair| self.open.remove(&pair));
                match given_up {
                    Some(Open::Receiving { data, length, .. }) => {
                        Step::fault(PacketFault::GivenUp {
                            have: data.len(),
                            length,
                        })
                    }
                    _ => Step::default(),
                }
            }
            found => Step::fault(PacketFault::Control { found }),
        }
    }

    fn interrupted(&mut self, pair: (u8, u8)) -> Option<PacketFault> {
        match self.open.remove(&pair) {
            Some(Open::Receiving { data, length, .. }) => Some(PacketFault::Interrupted {
                have: data.len(),
                length,
            }),
            _ => None,
        }
    }

    fn data(&mut self, pair: (u8, u8), frame: [u8; 8]) -> Step {
        let [number, packet @ ..] = frame;
        let (group, data, length, next) = match self.open.get_mut(&pair) {
            Some(Open::Receiving {
                group,
                data,
                length,
                next,
            }) => (*group, data, *length, next),
            Some(Open::PassingOver) => return Step::default(),
            None => {
                self.open.insert(pair, Open::PassingOver);
                return Step::fault(PacketFault::NoBeginning { number });
            }
        };
        let have = data.len();
        if number != *next {
            let fault = if number.wrapping_add(1) == *next {
                PacketFault::Doubled {
                    number,
                    have,
                    length,
                }
            } else {
                PacketFault::Lost {
                    expected: *next,
                    found: number,
                    have,
                    length,
                }
            };
            self.open.insert(pair, Open::PassingOver);
            return Step::fault(fault);
        }
        data.extend_from_slice(&packet[..PACKET.min(length - have)]);
        *next = next.wrapping_add(1);
        if data.len() < length {
            return Step::default();
        }
        let data = std::mem::take(data);
        self.open.remove(&pair);
        let (source, destination) = pair;
        Step {
            message: Some(Message {
                group,
                source,
                destination,
                data,
            }),
            fault: None,
        }
    }
}

/// The frames that broadcast a message of 9 to 1785 bytes: announcement, then packets, each with its
/// identifier of priority 7. `None` for any other length.
pub fn announce(group: u32, source: u8, message: &[u8]) -> Option<Vec<(u32, [u8; 8])>> {
    if !(9..=LONGEST).contains(&message.len()) || group > 0x3_FFFF {
        return None;
    }
    let identifier =
        |group: u32| 7 << 26 | group << 8 | u32::from(EVERYONE) << 8 | u32::from(source);
    let [low, high] = u16::try_from(message.len()).ok()?.to_le_bytes();
    let [group_low, group_middle, group_high, _] = group.to_le_bytes();
    let packets = u8::try_from(message.len().div_ceil(PACKET)).ok()?;
    let announcement = [
        0x20,
        low,
        high,
        packets,
        0xFF,
        group_low,
        group_middle,
        group_high,
    ];
    let mut frames = vec![(identifier(CONNECTION_GROUP), announcement)];
    for (number, part) in (1..=packets).zip(message.chunks(PACKET)) {
        let mut packet = [0xFF; 8];
        packet[0] = number;
        packet[1..=part.len()].copy_from_slice(part);
        frames.push((identifier(DATA_GROUP), packet));
    }
    Some(frames)
}
