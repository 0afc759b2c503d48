//! `--cache` and `--no-cache`.

use std::ffi::OsString;
use std::path::PathBuf;
use std::sync::Arc;

use photoproof_core::cache::{Cache, MAX_BYTES};

use crate::style;

/// Where measures are remembered between checks.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct CacheArgs {
    /// Folder that remembers what was measured, so that a job is checked again in a fraction of the time; it may be
    /// deleted at any time [default: `photoproof` in your cache folder]
    #[arg(long, value_name = "DIR")]
    cache: Option<PathBuf>,
    /// Measure everything afresh and remember nothing
    #[arg(long, conflicts_with = "cache")]
    no_cache: bool,
}

impl CacheArgs {
    /// The cache to use; none if it is switched off or nobody knows a place for it.
    pub(crate) fn open(&self) -> Option<Arc<Cache>> {
        if self.no_cache {
            return None;
        }
        let folder = self
            .cache
            .clone()
            .or_else(|| usual_folder(|name| std::env::var_os(name)))?;
        Some(Arc::new(Cache::new(&folder, MAX_BYTES)))
    }
}

/// Keeps the cache below its bound, and says once if it could not be written.
pub(crate) fn close(cache: Option<&Cache>) {
    let Some(cache) = cache else { return };
    cache.tidy();
    if let Some(fault) = cache.fault() {
        style::diagnostic("warning", fault);
    }
}

/// The user's own cache folder (XDG Base Directory Specification; on macOS and Windows the system's).
fn usual_folder(variable: impl Fn(&str) -> Option<OsString>) -> Option<PathBuf> {
    let absolute = |name: &str| {
        let path = variable(name).map(PathBuf::from);
        path.filter(|path| path.is_absolute())
    };
    let folder = if cfg!(windows) {
        absolute("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        absolute("HOME").map(|home| home.join("Library/Caches"))
    } else {
        absolute("XDG_CACHE_HOME").or_else(|| absolute("HOME").map(|home| home.join(".cache")))
    };
    folder.map(|folder| folder.join("photoproof"))
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn the_folder_is_the_users_own_or_none() {
        let with = |pairs: &[(&str, &str)]| {
            let pairs: Vec<(String, String)> = pairs
                .iter()
                .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
                .collect();
            usual_folder(move |name| {
                let found = pairs.iter().find(|(known, _)| known == name);
                found.map(|(_, value)| value.into())
            })
        };
        let home = ("HOME", "/home/me");
        let folder = |path: &str| Some(PathBuf::from(path));
        assert_eq!(with(&[home]), folder("/home/me/.cache/photoproof"));
        assert_eq!(
            with(&[("XDG_CACHE_HOME", "/quick"), home]),
            folder("/quick/photoproof")
        );
        // The specification tells to ignore relative paths.
        assert_eq!(
            with(&[("XDG_CACHE_HOME", "here"), home]),
            folder("/home/me/.cache/photoproof")
        );
        assert_eq!(with(&[]), None);
    }
}
