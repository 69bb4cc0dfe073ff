//! Pseudonyms for vehicles, units, technicians, shops and orders, so that a report can leave the house.
//!
//! A pseudonym is the keyed hash (HMAC-SHA-256, RFC 2104) of what it stands for: the same key gives
//! the same pseudonym week after week, and without the key nobody can tell what it stands for, not
//! even by trying all numbers. The key lies in the lake's folder as `share.key` or comes from the
//! environment; whoever has it can undo the pseudonyms by trying.

use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// The key's environment variable.
pub const KEY_VARIABLE: &str = "VOLTWANE_SHARE_KEY";

/// Why there is no key to make pseudonyms with.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    #[error(
        "this lake is not on this machine, so it keeps no key for pseudonyms: set {KEY_VARIABLE} to a long secret"
    )]
    NoFolder,
    #[error("{KEY_VARIABLE} is shorter than 16 characters: give a longer secret")]
    Short,
    #[error("the key for pseudonyms {path} could not be read or made: {source}")]
    File {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("the key for pseudonyms {0} is empty: delete it to have a new one made")]
    Empty(PathBuf),
}

/// Gives everyone the name they have in a shared report.
#[derive(Clone)]
pub struct Pseudonyms {
    key: Vec<u8>,
}

impl std::fmt::Debug for Pseudonyms {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Pseudonyms(key not shown)")
    }
}

impl Pseudonyms {
    /// Pseudonyms by this key.
    pub fn with_key(key: &[u8]) -> Self {
        Self { key: key.to_vec() }
    }

    /// The key of the environment, else that of the lake's folder, which is made on first use.
    pub fn find(lake_folder: Option<&Path>) -> Result<Self, KeyError> {
        if let Ok(key) = std::env::var(KEY_VARIABLE) {
            return match key.len() {
                ..16 => Err(KeyError::Short),
                _ => Ok(Self::with_key(key.as_bytes())),
            };
        }
        let path = lake_folder.ok_or(KeyError::NoFolder)?.join("share.key");
        let failed = |source| KeyError::File {
            path: path.clone(),
            source,
        };
        if !path.exists() {
            let secret: [u8; 32] = rand::random();
            let text: String = secret.iter().map(|byte| format!("{byte:02x}")).collect();
            write_secret(&path, &text).map_err(failed)?;
        }
        let key = std::fs::read_to_string(&path).map_err(failed)?;
        match key.trim() {
            "" => Err(KeyError::Empty(path)),
            key => Ok(Self::with_key(key.as_bytes())),
        }
    }

    /// The pseudonym of `name` among names of one kind, such as `V-3KQ9ZT7M`.
    pub fn of(&self, kind: &str, name: &str) -> String {
        // Letters and digits that are not mistaken for each other, five bits each.
        const LETTERS: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
        let hash = keyed_hash(&self.key, format!("{kind}\0{}", name.trim()).as_bytes());
        let mut bits = u64::from_be_bytes([
            hash[0], hash[1], hash[2], hash[3], hash[4], hash[5], hash[6], hash[7],
        ]);
        let letters: String = (0..8)
            .map(|_| {
                let letter = LETTERS[(bits >> 59) as usize];
                bits <<= 5;
                char::from(letter)
            })
            .collect();
        format!("{kind}-{letters}")
    }

    /// A text in which everything that has the form of a vehicle identification number is replaced.
    pub fn sweep(&self, text: &str) -> String {
        let mut swept = String::with_capacity(text.len());
        let mut word = String::new();
        for letter in text.chars().chain(std::iter::once('\0')) {
            if letter.is_ascii_alphanumeric() {
                word.push(letter);
                continue;
            }
            let vin = word.len() == 17 && word.bytes().any(|byte| byte.is_ascii_digit());
            match vin {
                true => swept.push_str(&self.of("V", &word.to_ascii_uppercase())),
                false => swept.push_str(&word),
            }
            word.clear();
            if letter != '\0' {
                swept.push(letter);
            }
        }
        swept
    }
}

fn write_secret(path: &Path, text: &str) -> std::io::Result<()> {
    use std::io::Write;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)?.write_all(text.as_bytes())
}

/// HMAC-SHA-256 as RFC 2104 defines it.
pub fn keyed_hash(key: &[u8], message: &[u8]) -> [u8; 32] {
    const BLOCK: usize = 64;
    let mut padded = [0u8; BLOCK];
    if key.len() > BLOCK {
        padded[..32].copy_from_slice(&Sha256::digest(key));
    } else {
        padded[..key.len()].copy_from_slice(key);
    }
    let inner = Sha256::new()
        .chain_update(padded.map(|byte| byte ^ 0x36))
        .chain_update(message)
        .finalize();
    Sha256::new()
        .chain_update(padded.map(|byte| byte ^ 0x5c))
        .chain_update(inner)
        .finalize()
        .into()
}
