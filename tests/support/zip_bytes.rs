//! Archives as a stranger may write them, byte by byte (PKWARE APPNOTE.TXT 6.3.10, sections 4.3.7, 4.3.12 and 4.3.16).

use std::io::Write;

/// One entry; every field is written as it stands.
#[derive(Clone)]
pub(crate) struct Member {
    pub(crate) name: Vec<u8>,
    pub(crate) packed: Vec<u8>,
    pub(crate) size: u32,
    pub(crate) crc: u32,
    pub(crate) method: u16,
    pub(crate) flags: u16,
    pub(crate) mode: u32,
}

/// An honest stored entry.
pub(crate) fn stored(name: impl AsRef<[u8]>, bytes: &[u8]) -> Member {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    Member {
        name: name.as_ref().to_vec(),
        packed: bytes.to_vec(),
        size: u32::try_from(bytes.len()).expect("a small file"),
        crc: crc.sum(),
        method: 0,
        flags: 0x800,
        mode: 0o100_644,
    }
}

/// An honest deflated entry.
pub(crate) fn deflated(name: &str, bytes: &[u8]) -> Member {
    let mut packer = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(bytes).expect("memory");
    Member {
        packed: packer.finish().expect("memory"),
        method: 8,
        ..stored(name, bytes)
    }
}

/// The whole archive.
pub(crate) fn archive(members: &[Member]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut directory = Vec::new();
    for member in members {
        let start = u32::try_from(bytes.len()).expect("a small archive");
        let mut common = Vec::new();
        for word in [20, member.flags, member.method, 0, 0x21] {
            common.extend(u16::to_le_bytes(word));
        }
        let packed = u32::try_from(member.packed.len()).expect("a small file");
        for word in [member.crc, packed, member.size] {
            common.extend(word.to_le_bytes());
        }
        let name = u16::try_from(member.name.len()).expect("a short name");
        common.extend(name.to_le_bytes());
        common.extend([0, 0]);
        bytes.extend(b"PK\x03\x04");
        bytes.extend(&common);
        bytes.extend(&member.name);
        bytes.extend(&member.packed);
        directory.extend(b"PK\x01\x02\x14\x03");
        directory.extend(&common);
        directory.extend([0; 6]);
        directory.extend((member.mode << 16).to_le_bytes());
        directory.extend(start.to_le_bytes());
        directory.extend(&member.name);
    }
    let count = u16::try_from(members.len()).expect("few entries");
    let at = u32::try_from(bytes.len()).expect("a small archive");
    let length = u32::try_from(directory.len()).expect("a small archive");
    bytes.extend(directory);
    bytes.extend(b"PK\x05\x06\0\0\0\0");
    bytes.extend(count.to_le_bytes());
    bytes.extend(count.to_le_bytes());
    bytes.extend(length.to_le_bytes());
    bytes.extend(at.to_le_bytes());
    bytes.extend([0, 0]);
    bytes
}
