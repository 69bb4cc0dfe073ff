//! Text forms of diagnostic messages: one frame or message a line.
//!
//! Two forms are read. The SocketCAN text log, `(1436509052.249713) can0 7E8#0641000000000000`. And
//! plain hexadecimal, with or without blanks, with or without the identifier before the bytes:
//! `7E8 06 41 00 BE 3F A8 13`, `18DAF110 02 41 0D`, `41 00 BE 3F A8 13`. A `>` before a request and a
//! `<` before an answer may stand. With an identifier the bytes are a frame (ISO 15765-2), without
//! one they are a whole message. What a line means is left to [`scan_log`](super::scan_log).

/// Bytes of the longest message that a line may hold.
const LONGEST_MESSAGE: usize = 4095;

/// One line of a log.
#[derive(Debug, Clone, PartialEq)]
pub enum LogLine {
    /// `# name: value`, something said of the scan; other notes are empty.
    Note { name: String, value: String },
    /// A CAN frame, with its time in seconds where the log has it.
    Frame {
        seconds: Option<f64>,
        identifier: u32,
        extended: bool,
        data: Vec<u8>,
    },
    /// A whole message without its identifier.
    Message(Vec<u8>),
    /// A blank line, or a frame that carries no data.
    Nothing,
}

impl LogLine {
    /// Reads a line; the error says what it is instead.
    pub fn read(text: &str) -> Result<LogLine, String> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(LogLine::Nothing);
        }
        if let Some(note) = text.strip_prefix('#') {
            let (name, value) = note.split_once(':').unwrap_or((note, ""));
            return Ok(LogLine::Note {
                name: name.trim().to_lowercase(),
                value: value.trim().to_owned(),
            });
        }
        if text.starts_with('(') {
            return socket_can(text);
        }
        hexadecimal(text.trim_start_matches(['>', '<']).trim())
    }

    /// Whether a text is a log: of its first lines, notes apart, the first and at least four in
    /// five are frames or messages.
    pub fn fits<'t>(lines: impl Iterator<Item = &'t str>) -> bool {
        const LOOKED_AT: usize = 50;
        let lines = lines
            .map(str::trim)
            .filter(|line| !line.is_empty() && !line.starts_with('#'));
        let is_message = |line: &str| line.len() >= 4 && LogLine::read(line).is_ok();
        let fits: Vec<bool> = lines.take(LOOKED_AT).map(is_message).collect();
        let fitting = fits.iter().filter(|fits| **fits).count();
        fits.first() == Some(&true) && fitting * 5 >= fits.len() * 4
    }
}

/// `(seconds) interface identifier#data`, as the can-utils log files have it. `##` is a frame of CAN
/// FD, with one digit of flags; `#R` asks for data and has none. A letter for the direction may follow.
fn socket_can(text: &str) -> Result<LogLine, String> {
    let wrong = || "not of the form (time) interface ID#DATA".to_owned();
    let (time, rest) = text[1..].split_once(')').ok_or_else(wrong)?;
    let seconds = time
        .trim()
        .parse::<f64>()
        .ok()
        .filter(|seconds| seconds.is_finite())
        .ok_or_else(wrong)?;
    let mut words = rest.split_whitespace();
    let (_, frame) = (
        words.next().ok_or_else(wrong)?,
        words.next().ok_or_else(wrong)?,
    );
    let (identifier, data) = frame.split_once('#').ok_or_else(wrong)?;
    let extended = identifier.len() == 8;
    if !extended && identifier.len() != 3 {
        return Err(format!(
            "identifier {identifier} has neither 3 nor 8 digits"
        ));
    }
    let identifier = u32::from_str_radix(identifier, 16).map_err(|_| wrong())?;
    let data = match data.strip_prefix('#') {
        Some(flexible) => flexible.get(1..).ok_or_else(wrong)?,
        None if data.starts_with('R') => return Ok(LogLine::Nothing),
        None => data,
    };
    Ok(LogLine::Frame {
        seconds: Some(seconds),
        identifier,
        extended,
        data: bytes(data)?,
    })
}

fn hexadecimal(text: &str) -> Result<LogLine, String> {
    let digits: String = text
        .chars()
        .filter(|character| !character.is_whitespace())
        .collect();
    // Eleven bits take three digits, so an odd number of digits begins with an identifier.
    let header_length = match digits.len() {
        length if length % 2 == 1 => 3,
        length if length > 10 && is_extended(&digits) => 8,
        _ => return Ok(LogLine::Message(bytes(&digits)?)),
    };
    let (header, data) = digits.split_at_checked(header_length).ok_or("it is cut")?;
    let identifier =
        u32::from_str_radix(header, 16).map_err(|_| format!("{header} is no identifier"))?;
    Ok(LogLine::Frame {
        seconds: None,
        identifier,
        extended: header_length == 8,
        data: bytes(data)?,
    })
}

/// The identifiers of answers with normal fixed addressing: ISO 15765-2, 18DA and 18DB.
fn is_extended(text: &str) -> bool {
    let start = text.get(..4).unwrap_or_default().to_ascii_uppercase();
    start == "18DA" || start == "18DB"
}

fn bytes(text: &str) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::with_capacity(text.len() / 2);
    let mut high = None;
    for character in text
        .chars()
        .filter(|character| !character.is_whitespace() && *character != '.')
    {
        let digit = character
            .to_digit(16)
            .ok_or_else(|| format!("{character:?} is no hexadecimal digit"))?
            as u8;
        match high.take() {
            None => high = Some(digit),
            Some(high) => bytes.push(high << 4 | digit),
        }
        if bytes.len() > LONGEST_MESSAGE {
            return Err(format!("more than {LONGEST_MESSAGE} bytes"));
        }
    }
    match high {
        Some(_) => Err("half a byte at its end".to_owned()),
        None => Ok(bytes),
    }
}
