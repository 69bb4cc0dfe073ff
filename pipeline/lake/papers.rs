//! A lake's own papers: the settings, mappings and code groups that its users put beside its tables.
//!
//! On this machine they are read where they lie; of a lake in an object store a copy is made. Fails where the
//! store cannot be read or the copy not be written.

use std::path::{Path, PathBuf};

use deltalake::logstore::store_for;
use futures::TryStreamExt;
use object_store::path::Path as StorePath;
use object_store::{ObjectStore, ObjectStoreExt};

use super::{Lake, LakeError};

/// Papers at the root of a lake, and the folder of others.
const PAPERS: [&str; 2] = ["voltwane.toml", "code_groups.toml"];
const MAPPINGS: &str = "mappings";

/// A paper longer than this is none, in bytes; who reads it has narrower limits.
const LONGEST: u64 = 16 << 20;

impl Lake {
    /// The folder of the lake's papers: its own, or that of the copy; none of a lake in an object store of which
    /// no copy was made.
    pub fn papers(&self) -> Option<PathBuf> {
        self.folder().or_else(|| self.papers.clone())
    }

    /// Copies the papers of a lake in an object store into a folder that `into` makes; does nothing for any other.
    pub async fn fetch_papers(
        &mut self,
        into: impl FnOnce() -> std::io::Result<PathBuf>,
    ) -> Result<(), LakeError> {
        if self.folder().is_some() {
            return Ok(());
        }
        let failed = |source| LakeError::Io {
            place: self.place.clone(),
            source,
        };
        let folder = into().map_err(failed)?;
        self.copy_papers(&folder).await.map_err(failed)?;
        self.papers = Some(folder);
        Ok(())
    }

    async fn copy_papers(&self, folder: &Path) -> std::io::Result<()> {
        // Paths in it are below the lake.
        let store = store_for(&self.root, std::iter::empty::<(String, String)>())
            .map_err(std::io::Error::other)?;
        for name in PAPERS {
            match store.get(&StorePath::from(name)).await {
                Ok(paper) => {
                    is_short(name, paper.meta.size)?;
                    let bytes = paper.bytes().await.map_err(std::io::Error::other)?;
                    std::fs::write(folder.join(name), bytes)?;
                }
                Err(object_store::Error::NotFound { .. }) => {}
                Err(error) => return Err(std::io::Error::other(error)),
            }
        }
        let mappings: Vec<_> = store
            .list(Some(&StorePath::from(MAPPINGS)))
            .try_collect()
            .await
            .map_err(std::io::Error::other)?;
        std::fs::create_dir_all(folder.join(MAPPINGS))?;
        for (nth, mapping) in mappings.iter().enumerate() {
            let name = mapping.location.filename().unwrap_or_default();
            if !name.ends_with(".toml") {
                continue;
            }
            is_short(mapping.location.as_ref(), mapping.size)?;
            let bytes = store.get(&mapping.location).await;
            let bytes = bytes.map_err(std::io::Error::other)?.bytes().await;
            // Numbered, since mappings in folders of their own may be named alike.
            let copy = folder.join(MAPPINGS).join(format!("{nth}-{name}"));
            std::fs::write(copy, bytes.map_err(std::io::Error::other)?)?;
        }
        Ok(())
    }
}

fn is_short(name: &str, bytes: u64) -> std::io::Result<()> {
    match bytes <= LONGEST {
        true => Ok(()),
        false => Err(std::io::Error::other(format!(
            "{name} has {bytes} bytes, more than the {LONGEST} that a paper may have"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_paper_that_is_too_long_is_named() {
        assert!(is_short("mappings/shop.toml", LONGEST).is_ok());
        let why = is_short("mappings/shop.toml", LONGEST + 1).unwrap_err();
        assert!(
            why.to_string()
                .starts_with("mappings/shop.toml has 16777217 bytes")
        );
    }
}
