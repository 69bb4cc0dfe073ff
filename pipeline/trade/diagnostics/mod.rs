//! Diagnostic messages of vehicles: bytes to codes, values and readiness.
//!
//! From the wire up: [`segments`] joins the frames of one message (ISO 15765-2), [`legislated`] reads
//! the emissions services (SAE J1979), [`unified`] the fault memory services of ISO 14229-1;
//! [`broadcast`] joins the packets of heavy vehicles (SAE J1939-21) and [`active_codes`] reads their
//! codes (SAE J1939-73). Every reader takes a byte slice of any length, keeps bounded memory and
//! reports a fault with its offset; nothing is guessed. Text forms of frames are left to `intake`.

pub mod active_codes;
pub mod broadcast;
pub mod legislated;
pub mod segments;
pub mod unified;

use thiserror::Error;

/// Why the bytes of a message cannot be read. Offsets count from 0 at the message's first byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum DecodeError {
    #[error("message ends at byte {at} where {expected} should stand")]
    Short { at: usize, expected: &'static str },
    #[error("byte {at} is {found:02X}: {expected} goes there")]
    Unexpected {
        at: usize,
        found: u8,
        expected: &'static str,
    },
    #[error("{count} bytes from byte {at} on belong to nothing")]
    Surplus { at: usize, count: usize },
    #[error("service {service:02X} refused with {reason:02X}: {}", refusal_text(*.reason))]
    Refused { service: u8, reason: u8 },
}

impl DecodeError {
    /// Whether the server only asked for time (reason 78); its answer is still to come.
    pub const fn is_answer_pending(self) -> bool {
        matches!(self, DecodeError::Refused { reason: 0x78, .. })
    }
}

/// Service byte of a refusal: `7F`, the service asked, the reason.
const REFUSAL: u8 = 0x7F;

/// Whether the first byte is a request's: services are below 40, answers 40 above.
pub fn is_request(message: &[u8]) -> bool {
    message.first().is_some_and(|service| *service < 0x40)
}

/// What a negative response code says, in our words: ISO 14229-1 Annex A (from memory).
pub const fn refusal_text(reason: u8) -> &'static str {
    match reason {
        0x10 => "refused without a reason",
        0x11 => "service not supported",
        0x12 => "subfunction not supported",
        0x13 => "wrong length or form of request",
        0x14 => "answer too long",
        0x21 => "busy, ask again",
        0x22 => "conditions not right",
        0x24 => "requests in the wrong order",
        0x31 => "request out of range",
        0x33 => "access not unlocked",
        0x72 => "could not write its memory",
        0x78 => "needs more time, answer follows",
        0x7E => "subfunction not in this session",
        0x7F => "service not in this session",
        _ => "reason not described here",
    }
}

/// Reads a message from the front, knowing where it stands.
#[derive(Clone, Copy)]
struct Bytes<'a> {
    message: &'a [u8],
    at: usize,
}

impl<'a> Bytes<'a> {
    fn new(message: &'a [u8]) -> Self {
        Bytes { message, at: 0 }
    }

    fn left(&self) -> &'a [u8] {
        self.message.get(self.at..).unwrap_or_default()
    }

    fn take<const N: usize>(&mut self, expected: &'static str) -> Result<[u8; N], DecodeError> {
        match self.left().first_chunk::<N>() {
            Some(bytes) => {
                self.at += N;
                Ok(*bytes)
            }
            None => Err(DecodeError::Short {
                at: self.message.len(),
                expected,
            }),
        }
    }

    fn byte(&mut self, expected: &'static str) -> Result<u8, DecodeError> {
        self.take::<1>(expected).map(|[byte]| byte)
    }

    /// The service byte of an answer; a refusal becomes its error.
    fn answer(&mut self) -> Result<u8, DecodeError> {
        let service = self.byte("the answer's service")?;
        if service == REFUSAL {
            let [service, reason] = self.take("the service refused and the reason")?;
            return Err(DecodeError::Refused { service, reason });
        }
        Ok(service)
    }

    /// Whether nothing is left, or only one of the bytes frames are filled up with.
    fn only_padding_left(&self) -> bool {
        match self.left() {
            [] => true,
            [first, rest @ ..] => {
                matches!(first, 0x00 | 0x55 | 0xAA | 0xCC | 0xFF)
                    && rest.iter().all(|byte| byte == first)
            }
        }
    }

    fn end(&self) -> Result<(), DecodeError> {
        if self.only_padding_left() {
            Ok(())
        } else {
            Err(DecodeError::Surplus {
                at: self.at,
                count: self.left().len(),
            })
        }
    }
}
