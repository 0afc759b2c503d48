//! The bytes of one entry: a mark, the key, a checksum of key and content, the content.

use sha2::{Digest, Sha256};

use super::Key;

/// Bytes of an entry above which it is neither written nor read.
pub(super) const MAX_BYTES: u64 = 16 << 20;

const MARK: &[u8; 20] = b"photoproof measures\n";
const DIGEST: usize = 32;

fn checksum(key: &Key, content: &[u8]) -> [u8; DIGEST] {
    let mut digest = Sha256::new();
    digest.update(key.0);
    digest.update(content);
    digest.finalize().into()
}

/// An entry ready to be written.
pub(super) fn sealed(content: &[u8], key: &Key) -> Vec<u8> {
    [MARK, &key.0[..], &checksum(key, content), content].concat()
}

/// The content of an entry; `None` unless it is whole and has this key.
pub(super) fn opened<'a>(bytes: &'a [u8], key: &Key) -> Option<&'a [u8]> {
    let rest = bytes.strip_prefix(MARK)?.strip_prefix(&key.0)?;
    let (stated, content) = rest.split_first_chunk::<DIGEST>()?;
    (*stated == checksum(key, content)).then_some(content)
}
