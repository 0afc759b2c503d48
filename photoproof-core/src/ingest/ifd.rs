//! Small repairs of a TIFF structure before the Exif library reads it.

/// Longest value of one entry that is left readable, bytes: times, names and positions are short, and a
/// hostile file can point a hundred entries at the same megabytes.
const LONGEST_VALUE: usize = 1 << 16;

/// Pointer tags to the Exif and GPS directories.
const POINTERS: [usize; 2] = [0x8769, 0x8825];

/// Rewrites pointers of type IFD (13, TIFF technical note 1) as LONG (4), which means the same four
/// bytes and is the only type the library follows; gives entries with overlong values an unknown type,
/// so that nobody copies them.
pub(crate) fn repaired(mut data: Vec<u8>) -> Vec<u8> {
    let little = data.starts_with(b"II");
    let Some(first) = number(&data, little, 4, 4) else {
        return data;
    };
    let mut directories = vec![first];
    for directory in 0..3 {
        let Some(&start) = directories.get(directory) else {
            break;
        };
        let count = number(&data, little, start, 2).unwrap_or(0);
        for entry in (0..count).map(|index| start.saturating_add(2 + 12 * index)) {
            let Some(tag) = number(&data, little, entry, 2) else {
                break;
            };
            if directory == 0 && POINTERS.contains(&tag) {
                directories.extend(pointer(&mut data, little, entry));
            } else if is_overlong(&data, little, entry) {
                set_type(&mut data, little, entry, 0);
            }
        }
    }
    data
}

/// Follows a pointer entry and makes its type LONG.
fn pointer(data: &mut [u8], little: bool, entry: usize) -> Option<usize> {
    if number(data, little, entry.checked_add(2)?, 2)? == 13 {
        set_type(data, little, entry, 4);
    }
    number(data, little, entry.checked_add(8)?, 4)
}

fn is_overlong(data: &[u8], little: bool, entry: usize) -> bool {
    let kind = number(data, little, entry.saturating_add(2), 2).unwrap_or(0);
    let count = number(data, little, entry.saturating_add(4), 4).unwrap_or(0);
    // Sizes of the types 1 to 12 (TIFF 6.0, section 2).
    let size = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8]
        .get(kind)
        .copied()
        .unwrap_or(0);
    count.saturating_mul(size) > LONGEST_VALUE
}

/// Types are below 256: one of the two bytes holds them.
fn set_type(data: &mut [u8], little: bool, entry: usize, kind: u8) {
    let at = entry.saturating_add(if little { 2 } else { 3 });
    if let Some(byte) = data.get_mut(at) {
        *byte = kind;
    }
}

/// A number of `size` bytes at `at`.
fn number(data: &[u8], little: bool, at: usize, size: usize) -> Option<usize> {
    let bytes = data.get(at..at.checked_add(size)?)?;
    let fold = |value: usize, byte: &u8| (value << 8) | usize::from(*byte);
    Some(if little {
        bytes.iter().rev().fold(0, fold)
    } else {
        bytes.iter().fold(0, fold)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A directory at 8 with an Exif pointer of type IFD and a text of a megabyte.
    fn sample(big: bool) -> Vec<u8> {
        let short = |value: u16| {
            if big {
                value.to_be_bytes()
            } else {
                value.to_le_bytes()
            }
        };
        let long = |value: u32| {
            if big {
                value.to_be_bytes()
            } else {
                value.to_le_bytes()
            }
        };
        let mut data = if big { b"MM".to_vec() } else { b"II".to_vec() };
        data.extend(short(42));
        data.extend(long(8));
        data.extend(short(2));
        for (tag, kind, count, value) in [(0x010F, 2, 1 << 20, 8), (0x8769, 13, 1, 38)] {
            data.extend(short(tag));
            data.extend(short(kind));
            data.extend(long(count));
            data.extend(long(value));
        }
        data.extend(long(0));
        data
    }

    #[test]
    fn pointers_become_long_and_overlong_values_unknown() {
        for big in [false, true] {
            let repaired = repaired(sample(big));
            let kind = |entry: usize| number(&repaired, !big, entry + 2, 2);
            assert_eq!(kind(10), Some(0));
            assert_eq!(kind(22), Some(4));
        }
    }

    #[test]
    fn scraps_pass_through() {
        for length in 0..sample(true).len() {
            let scrap = sample(true)[..length].to_vec();
            assert_eq!(repaired(scrap).len(), length);
        }
    }
}
