//! Which encoding a text is in, and its lines as UTF-8.
//!
//! A byte order mark decides; then zero bytes at every second place, which are UTF-16; then UTF-8
//! if the text's start is valid UTF-8, else windows-1252. In a text taken for UTF-8 a later line
//! that is none is read as windows-1252 too, since the start may hold nothing but ASCII; where a
//! mapping says UTF-8, such a line is at fault instead. UTF-32 and binary files are errors.

use std::borrow::Cow;
use std::io::{self, BufRead, Read};

use encoding_rs::{
    Decoder, Encoding, ISO_2022_JP, REPLACEMENT, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252,
};

use crate::error::IntakeError;

/// How bytes become text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coding {
    encoding: &'static Encoding,
    /// Whether a line that is not UTF-8 may be read as windows-1252.
    lenient: bool,
}

impl Coding {
    /// The encoding of that name, as in the WHATWG Encoding Standard; `None` when it is not read.
    pub fn named(label: &str) -> Option<Coding> {
        let encoding = Encoding::for_label(label.trim().as_bytes())?;
        (encoding != ISO_2022_JP && encoding != REPLACEMENT).then_some(Coding {
            encoding,
            lenient: false,
        })
    }

    /// The encoding of a text that starts with `head`.
    pub fn found(file: &str, head: &[u8]) -> Result<Coding, IntakeError> {
        if head.starts_with(&[0xFF, 0xFE, 0, 0]) || head.starts_with(&[0, 0, 0xFE, 0xFF]) {
            return Err(IntakeError::Encoding {
                file: file.to_owned(),
                encoding: "UTF-32",
            });
        }
        if let Some((encoding, _)) = Encoding::for_bom(head) {
            return Ok(Coding {
                encoding,
                lenient: encoding == UTF_8,
            });
        }
        let zeros = |from: usize| {
            head.iter()
                .skip(from)
                .step_by(2)
                .filter(|byte| **byte == 0)
                .count()
        };
        let (even, odd) = (zeros(0), zeros(1));
        if even + odd > 0 {
            let pairs = head.len().div_ceil(2);
            if odd * 10 > pairs * 4 && even * 20 < pairs {
                return Ok(Coding {
                    encoding: UTF_16LE,
                    lenient: false,
                });
            }
            if even * 10 > pairs * 4 && odd * 20 < pairs {
                return Ok(Coding {
                    encoding: UTF_16BE,
                    lenient: false,
                });
            }
            if (even + odd) * 20 > head.len() {
                return Err(not_text(file, head));
            }
        }
        if let Some((looks_like, remedy)) = known_binary(head) {
            return Err(IntakeError::NotText {
                file: file.to_owned(),
                looks_like,
                remedy,
            });
        }
        match std::str::from_utf8(head) {
            // An error without a length is a character cut by the end of the head.
            Err(error) if error.error_len().is_some() => Ok(Coding {
                encoding: WINDOWS_1252,
                lenient: false,
            }),
            _ => Ok(Coding {
                encoding: UTF_8,
                lenient: true,
            }),
        }
    }

    pub fn name(self) -> &'static str {
        self.encoding.name()
    }

    /// The length of the byte order mark that `head` starts with, if it is this encoding's.
    pub fn mark_length(self, head: &[u8]) -> usize {
        Encoding::for_bom(head)
            .filter(|(encoding, _)| *encoding == self.encoding)
            .map_or(0, |(_, length)| length)
    }

    pub fn is_utf_16(self) -> bool {
        self.encoding == UTF_16LE || self.encoding == UTF_16BE
    }

    /// `reader` as one whose lines [`Coding::line`] can read: UTF-16 becomes UTF-8, all else stays.
    pub fn by_lines<'r>(self, reader: Box<dyn BufRead + 'r>) -> Box<dyn BufRead + 'r> {
        if !self.is_utf_16() {
            return reader;
        }
        let decoder = self.encoding.new_decoder_without_bom_handling();
        Box::new(io::BufReader::with_capacity(
            1 << 16,
            Utf16Reader {
                reader,
                decoder,
                text: Vec::new(),
                read: 0,
                ended: false,
            },
        ))
    }

    /// One line as text. The error says where it cannot be read.
    pub fn line(self, bytes: &[u8]) -> Result<Cow<'_, str>, String> {
        if self.encoding == UTF_8 || self.is_utf_16() {
            return match std::str::from_utf8(bytes) {
                Ok(text) if self.is_utf_16() && text.contains('\u{FFFD}') => {
                    Err("half a character".to_owned())
                }
                Ok(text) => Ok(Cow::Borrowed(text)),
                Err(_) if self.lenient => Ok(WINDOWS_1252.decode_without_bom_handling(bytes).0),
                Err(error) => Err(format!("byte {} is not UTF-8", error.valid_up_to() + 1)),
            };
        }
        match self.encoding.decode_without_bom_handling(bytes) {
            (_, true) => Err(format!("bytes that {} does not have", self.encoding.name())),
            (text, false) => Ok(text),
        }
    }
}

/// UTF-16 in, UTF-8 out, a little at a time. Half a character becomes U+FFFD.
struct Utf16Reader<'r> {
    reader: Box<dyn BufRead + 'r>,
    decoder: Decoder,
    text: Vec<u8>,
    read: usize,
    ended: bool,
}

impl Read for Utf16Reader<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.read == self.text.len() && !self.ended {
            let bytes = self.reader.fill_buf()?;
            self.ended = bytes.is_empty();
            // Two bytes of UTF-16 are at most three of UTF-8; the rest is for what the decoder held back.
            self.text.resize(bytes.len() / 2 * 3 + 16, 0);
            let (_, taken, written, _) =
                self.decoder
                    .decode_to_utf8(bytes, &mut self.text, self.ended);
            self.reader.consume(taken);
            self.text.truncate(written);
            self.read = 0;
        }
        let length = into.len().min(self.text.len() - self.read);
        into[..length].copy_from_slice(&self.text[self.read..self.read + length]);
        self.read += length;
        Ok(length)
    }
}

fn not_text(file: &str, head: &[u8]) -> IntakeError {
    let (looks_like, remedy) = known_binary(head).unwrap_or((
        "a binary file",
        "export it as CSV, or leave it out of the load",
    ));
    IntakeError::NotText {
        file: file.to_owned(),
        looks_like,
        remedy,
    }
}

/// What a file that is no text looks like, by the bytes it starts with.
fn known_binary(head: &[u8]) -> Option<(&'static str, &'static str)> {
    const EXPORT: &str = "export its table as CSV";
    const UNPACK: &str = "unpack it, or pack it again as .gz, .zst or .zip";
    let known: &[(&[u8], &str, &str)] = &[
        (b"%PDF", "a PDF document", EXPORT),
        (b"SQLite format 3\0", "an SQLite database", EXPORT),
        (b"\x89PNG", "a picture", "leave it out of the load"),
        (b"\xFF\xD8\xFF", "a picture", "leave it out of the load"),
        (b"7z\xBC\xAF\x27\x1C", "a 7z archive", UNPACK),
        (b"Rar!", "a RAR archive", UNPACK),
        (b"\x1F\x8B", "compressed twice", "unpack it once"),
        (b"\x28\xB5\x2F\xFD", "compressed twice", "unpack it once"),
        (b"BZh", "bzip2-compressed", UNPACK),
        (b"\xFD7zXZ", "xz-compressed", UNPACK),
    ];
    known
        .iter()
        .find(|(start, ..)| head.starts_with(start))
        .map(|(_, looks_like, remedy)| (*looks_like, *remedy))
}
