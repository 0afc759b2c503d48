//! Listing and streaming, by the `object_store` crate. It asks again what fails on the way, also in the middle of an
//! object.

use std::collections::BTreeSet;
use std::io::Read;
use std::path::PathBuf;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use futures_util::TryStreamExt;
use object_store::aws::AmazonS3Builder;
use object_store::azure::MicrosoftAzureBuilder;
use object_store::gcp::GoogleCloudStorageBuilder;
use object_store::path::Path as Key;
use object_store::{GetOptions, ObjectMeta, ObjectStore, RetryConfig};
use tokio::runtime::Runtime;
use tokio_util::io::{StreamReader, SyncIoBridge};

use crate::error::{Error, ErrorKind};
use crate::ingest::Ignored;
use crate::ingest::options::IngestOptions;
use crate::ingest::walk::{Entry, FilePlace, Walked, left_out_at, too_many};

/// An object as it was listed.
#[derive(Debug, Clone)]
pub(crate) struct Object {
    store: Arc<dyn ObjectStore>,
    listed: ObjectMeta,
}

impl Object {
    /// Hands the content to `read` as it arrives, with its size in bytes. An object that has changed since it was
    /// listed is an error.
    pub(crate) fn with_reader<T>(
        &self,
        read: impl FnOnce(&mut dyn Read, u64) -> T,
    ) -> Result<T, String> {
        let unreadable =
            |why: &dyn std::fmt::Display| format!("cannot be read from the object store: {why}");
        let runtime = runtime().map_err(|e| unreadable(&e))?;
        let options = GetOptions::new().with_if_match(self.listed.e_tag.clone());
        let got = runtime
            .block_on(self.store.get_opts(&self.listed.location, options))
            .map_err(|error| match error {
                object_store::Error::Precondition { .. } => {
                    "has changed in the object store since it was listed; check the job again"
                        .to_owned()
                }
                error => unreadable(&error),
            })?;
        let size = got.meta.size;
        let stream = StreamReader::new(got.into_stream().map_err(std::io::Error::other));
        let mut reader = SyncIoBridge::new_with_handle(stream, runtime.handle().clone());
        Ok(read(&mut reader, size))
    }

    /// What tells whether it has changed: size, time, tag and version.
    pub(crate) fn facts(&self) -> String {
        let listed = &self.listed;
        format!(
            "{} {} {:?} {:?}",
            listed.size, listed.last_modified, listed.e_tag, listed.version
        )
    }
}

/// The threads that wait for the network, for all jobs of the process.
fn runtime() -> Result<&'static Runtime, String> {
    static RUNTIME: LazyLock<Result<Runtime, String>> = LazyLock::new(|| {
        // Fails if the program has chosen one already, which is as good.
        let _ = rustls::crypto::ring::default_provider().install_default();
        tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .thread_name("object-store")
            .enable_all()
            .build()
            .map_err(|error| format!("cannot start network threads: {error}"))
    });
    RUNTIME.as_ref().map_err(Clone::clone)
}

/// A bucket and what lies below a prefix of it.
struct Place<'a> {
    url: &'a str,
    store: Arc<dyn ObjectStore>,
    prefix: Key,
    runtime: &'static Runtime,
}

impl<'a> Place<'a> {
    /// Credentials, region and endpoint come from the environment, by the names that each store's own tools use.
    fn open(url: &'a str) -> Result<Self, Error> {
        let unusable = |why: String| {
            let message = format!("cannot use {url}: {why}");
            Error::new(ErrorKind::Usage, message)
        };
        let (scheme, rest) = url.split_once("://").unwrap_or_default();
        let (bucket, prefix) = rest.split_once('/').unwrap_or((rest, ""));
        if bucket.is_empty() {
            return Err(unusable(format!(
                "no bucket is named; write {scheme}://BUCKET/PREFIX"
            )));
        }
        let runtime = runtime().map_err(unusable)?;
        let _inside = runtime.enter();
        let store = store(scheme, bucket).map_err(|e| unusable(e.to_string()))?;
        Ok(Self {
            url,
            store,
            prefix: Key::parse(prefix).map_err(|e| unusable(e.to_string()))?,
            runtime,
        })
    }

    fn unlisted(&self, error: &object_store::Error) -> Error {
        let message = format!(
            "cannot list {}: {error}; check the address, and the credentials, region and endpoint in the environment",
            self.url
        );
        Error::new(ErrorKind::Io, message)
    }

    fn nothing(&self) -> Error {
        let message = format!("there is nothing at {}; check the address", self.url);
        Error::new(ErrorKind::Io, message)
    }
}

fn store(scheme: &str, bucket: &str) -> object_store::Result<Arc<dyn ObjectStore>> {
    let retry = RetryConfig {
        max_retries: 6,
        retry_timeout: Duration::from_secs(60),
        ..RetryConfig::default()
    };
    Ok(match scheme {
        "gs" => {
            let builder = GoogleCloudStorageBuilder::from_env().with_bucket_name(bucket);
            Arc::new(builder.with_retry(retry).build()?)
        }
        "az" => {
            let builder = MicrosoftAzureBuilder::from_env().with_container_name(bucket);
            Arc::new(builder.with_retry(retry).build()?)
        }
        _ => {
            let builder = AmazonS3Builder::from_env().with_bucket_name(bucket);
            Arc::new(builder.with_retry(retry).build()?)
        }
    })
}

pub(super) fn folders_below(url: &str) -> Result<Vec<PathBuf>, Error> {
    let place = Place::open(url)?;
    let listed = place
        .runtime
        .block_on(place.store.list_with_delimiter(Some(&place.prefix)))
        .map_err(|error| place.unlisted(&error))?;
    let mut folders: Vec<PathBuf> = listed
        .common_prefixes
        .iter()
        .filter_map(|prefix| prefix.filename())
        .map(|name| PathBuf::from(format!("{url}/{name}")))
        .collect();
    if folders.is_empty() {
        return Err(place.nothing());
    }
    folders.sort();
    Ok(folders)
}

/// Lists the objects below `url` as if they lay in a folder.
pub(crate) fn walk(url: &str, options: &IngestOptions) -> Result<Walked, Error> {
    let place = Place::open(url)?;
    let mut objects = Vec::new();
    place.runtime.block_on(async {
        let mut listing = place.store.list(Some(&place.prefix));
        while let Some(object) = listing
            .try_next()
            .await
            .map_err(|error| place.unlisted(&error))?
        {
            if objects.len() >= options.max_files {
                return Err(too_many(url.as_ref(), options));
            }
            objects.push(object);
        }
        Ok(())
    })?;
    if objects.is_empty() {
        return Err(place.nothing());
    }
    Ok(sorted(&place, objects, options))
}

/// Puts every object in the list it belongs to.
fn sorted(place: &Place<'_>, objects: Vec<ObjectMeta>, options: &IngestOptions) -> Walked {
    let mut walked = Walked::default();
    let mut left_out = BTreeSet::new();
    let all: Vec<Vec<String>> = objects
        .iter()
        .map(|object| parts(object, &place.prefix))
        .collect();
    let folders: BTreeSet<&[String]> = all
        .iter()
        .flat_map(|parts| (0..parts.len()).filter_map(|end| parts.get(..end)))
        .collect();
    for (listed, parts) in objects.into_iter().zip(&all) {
        // Some programs put an empty object where a folder would be.
        if listed.size == 0 && folders.contains(parts.as_slice()) {
            continue;
        }
        if let Some((path, reason)) = left_out_at(parts, false, options) {
            if left_out.insert(path.clone()) {
                walked.ignored.push(Ignored { path, reason });
            }
            continue;
        }
        let shown = parts.join("/");
        let store = place.store.clone();
        let place = FilePlace::Object(Object { store, listed });
        walked.files.push(Entry { shown, place });
    }
    walked
}

/// The parts of an object's name below the prefix.
fn parts(object: &ObjectMeta, prefix: &Key) -> Vec<String> {
    let below = object.location.prefix_match(prefix).into_iter().flatten();
    below.map(|part| part.as_ref().to_owned()).collect()
}
