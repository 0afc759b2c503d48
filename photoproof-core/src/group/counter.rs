//! File numbers that cameras count up, and the phones of one model that they tell apart.
//!
//! Exif of phones names the model and no serial number. Two phones of one model show all the same: each counts its own
//! files, so that the photos of both, sorted by number, run against their times, while those of each are in order.

use std::collections::BTreeMap;

use crate::ingest::order::judged_time;
use crate::ingest::{CaptureTime, Photo};

/// Photos that a counter must have numbered before it is told apart. Fewer are in order by chance.
const LEAST_PHOTOS: usize = 4;

/// Numbers that must be missing between two counters; a camera that is used for one job leaves smaller gaps.
const LEAST_GAP: u32 = 100;

/// Photos of a counter of which one may be out of order: its time or its number was changed.
const ORDERLY: usize = 8;

/// Phones of one model that are told apart at most.
const MOST_PHONES: usize = 4;

/// Prefix (in capitals) and number of a name that a camera gave, such as `IMG_0412.jpg`: at most four letters, three to
/// five digits.
pub(crate) fn file_number(path: &str) -> Option<(String, u32)> {
    let stem = stem(path);
    let prefix = stem.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = stem.strip_prefix(prefix)?;
    let letters = prefix.trim_end_matches(['_', '-']);
    let is_prefix =
        (1..=4).contains(&letters.len()) && letters.chars().all(|c| c.is_ascii_alphabetic());
    let number = digits.parse().ok()?;
    ((3..=5).contains(&digits.len()) && is_prefix).then(|| (prefix.to_uppercase(), number))
}

/// The name of a file without folders and extension.
fn stem(path: &str) -> &str {
    let name = path.rsplit('/').next().unwrap_or(path);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

/// Indices into `numbers`, which ascend, of the fewest photos without which the rest is in order. `follows` says whether
/// the photo of the second index may have been taken after that of the first. The counter may have begun anew: the
/// photos beyond the largest gap may come first.
pub(crate) fn out_of_sequence(
    numbers: &[u32],
    follows: &dyn Fn(usize, usize) -> bool,
) -> Vec<usize> {
    let gaps = numbers.windows(2).map(|pair| match pair {
        [a, b] => b.saturating_sub(*a),
        _ => 0,
    });
    let jump = gaps.enumerate().max_by_key(|(_, gap)| *gap);
    let plain: Vec<usize> = (0..numbers.len()).collect();
    let mut turned = plain.clone();
    turned.rotate_left(jump.map_or(0, |(at, _)| at + 1));
    let (plain, turned) = (outside(&plain, follows), outside(&turned, follows));
    if turned.len() < plain.len() {
        turned
    } else {
        plain
    }
}

/// The members of `row` outside its longest run that is in order.
fn outside(row: &[usize], follows: &dyn Fn(usize, usize) -> bool) -> Vec<usize> {
    // Quadratic only beyond any camera's roll; rows are photos of one job.
    let mut best: Vec<(usize, Option<usize>)> = Vec::with_capacity(row.len());
    for (at, &later) in row.iter().enumerate() {
        let before = row.iter().zip(&best).enumerate().take(at);
        let fitting = before.filter(|(_, (earlier, _))| follows(**earlier, later));
        let longest =
            fitting.max_by_key(|(index, (_, (length, _)))| (*length, std::cmp::Reverse(*index)));
        best.push(match longest {
            Some((index, (_, (length, _)))) => (length + 1, Some(index)),
            None => (1, None),
        });
    }
    let ends = best.iter().enumerate();
    let mut at = ends
        .max_by_key(|(index, (length, _))| (*length, std::cmp::Reverse(*index)))
        .map(|(index, _)| index);
    let mut kept = vec![false; row.len()];
    while let Some(index) = at {
        if let Some(kept) = kept.get_mut(index) {
            *kept = true;
        }
        at = best.get(index).and_then(|(_, previous)| *previous);
    }
    let outside = row.iter().zip(kept).filter(|(_, kept)| !kept);
    outside.map(|(member, _)| *member).collect()
}

/// A photo with a number and a time.
#[derive(Clone, Copy)]
struct Shot<'a> {
    photo: usize,
    number: u32,
    time: &'a CaptureTime,
}

/// Photos of one phone.
pub(super) struct Phone {
    pub(super) photos: Vec<usize>,
    /// Names of its first and last number, `IMG_0812` and `IMG_0860`, where they tell it from others of its model.
    pub(super) names: Option<(String, String)>,
}

/// The photos of one make and model, `members`, by phone: of one phone as far as their numbers tell, else of one for
/// each counter and of a last one for photos without such a number, if there are any.
pub(super) fn phones(photos: &[Photo], members: Vec<usize>) -> Vec<Phone> {
    let mut rows: BTreeMap<String, Vec<Shot<'_>>> = BTreeMap::new();
    for &at in &members {
        let shot = photos.get(at).and_then(|photo| {
            let (prefix, number) = file_number(&photo.path)?;
            let time = judged_time(photo)?;
            let shot = Shot {
                photo: at,
                number,
                time,
            };
            Some((prefix, shot))
        });
        if let Some((prefix, shot)) = shot {
            rows.entry(prefix).or_default().push(shot);
        }
    }
    // One camera has one counter, whatever else begins its names.
    let longest = rows.into_values().max_by_key(Vec::len);
    let Some(counters) = longest.and_then(counters) else {
        return vec![Phone {
            photos: members,
            names: None,
        }];
    };
    let mut rest = members;
    let mut phones = Vec::new();
    for shots in counters {
        let name = |shot: Option<&Shot<'_>>| {
            let path = photos.get(shot?.photo)?.path.as_str();
            Some(stem(path).to_owned())
        };
        let names = name(shots.first()).zip(name(shots.last()));
        let mut photos: Vec<usize> = shots.iter().map(|shot| shot.photo).collect();
        photos.sort_unstable();
        rest.retain(|photo| photos.binary_search(photo).is_err());
        phones.push(Phone { photos, names });
    }
    if !rest.is_empty() {
        phones.push(Phone {
            photos: rest,
            names: None,
        });
    }
    phones
}

/// The fewest counters that explain the row: divided at the largest gaps, each in order but for one photo of
/// [`ORDERLY`], and a quarter at most of the photos left that are out of order in the whole.
fn counters(mut row: Vec<Shot<'_>>) -> Option<Vec<Vec<Shot<'_>>>> {
    row.sort_by_key(|shot| (shot.number, shot.time.civil, shot.photo));
    let whole = disorder(&row);
    if whole < LEAST_PHOTOS {
        return None;
    }
    let mut gaps: Vec<(u32, usize)> = row
        .windows(2)
        .enumerate()
        .filter_map(|(at, pair)| match pair {
            [a, b] => Some((b.number - a.number, at + 1)),
            _ => None,
        })
        .filter(|(gap, _)| *gap > LEAST_GAP)
        .collect();
    gaps.sort_by_key(|(gap, at)| (std::cmp::Reverse(*gap), *at));
    (1..MOST_PHONES.min(gaps.len() + 1)).find_map(|cuts| {
        let mut ends: Vec<usize> = gaps.iter().take(cuts).map(|(_, at)| *at).collect();
        ends.sort_unstable();
        ends.push(row.len());
        let mut start = 0;
        let pieces: Vec<Vec<Shot<'_>>> = ends
            .into_iter()
            .map(|end| {
                let piece = row.get(start..end).unwrap_or_default().to_vec();
                start = end;
                piece
            })
            .collect();
        let left: Vec<usize> = pieces.iter().map(|piece| disorder(piece)).collect();
        let fits = |(piece, left): (&Vec<Shot<'_>>, &usize)| {
            piece.len() >= LEAST_PHOTOS && left * ORDERLY <= piece.len()
        };
        let explains = 4 * left.iter().sum::<usize>() <= whole;
        (explains && pieces.iter().zip(&left).all(fits)).then_some(pieces)
    })
}

/// Photos of a row, sorted by number, that are out of the sequence.
fn disorder(row: &[Shot<'_>]) -> usize {
    let numbers: Vec<u32> = row.iter().map(|shot| shot.number).collect();
    let time = |at: usize| row.get(at).map(|shot| shot.time.civil);
    out_of_sequence(&numbers, &|earlier, later| time(earlier) <= time(later)).len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::TimeSource;
    use chrono::{NaiveDateTime, TimeDelta};

    #[test]
    fn names_of_cameras_have_a_prefix_and_a_number() {
        for (path, expected) in [
            ("Kitchen/before/IMG_0412.jpg", Some(("IMG_", 412))),
            ("dscn12345.JPG", Some(("DSCN", 12345))),
            ("P-100.png", Some(("P-", 100))),
            ("0412.jpg", None),
            ("IMG_41.jpg", None),
            ("IMG_20260302_143759.jpg", None),
            ("kitchen_0412.jpg", None),
            ("IMG_0412 (1).jpg", None),
        ] {
            let found = file_number(path);
            let found = found.as_ref().map(|(prefix, number)| (&**prefix, *number));
            assert_eq!(found, expected, "{path}");
        }
    }

    /// The names of the photos of each phone, of photos with these names and minutes.
    fn told_apart(shots: &[(String, i64)]) -> Vec<Vec<String>> {
        let start: NaiveDateTime = "2026-03-02T08:00:00".parse().unwrap();
        let photo = |(name, minute): &(String, i64)| Photo {
            path: format!("Kitchen/{name}.jpg"),
            capture_time: Some(CaptureTime {
                civil: start + TimeDelta::minutes(*minute),
                offset: None,
                source: TimeSource::ExifOriginal,
            }),
            ..Photo::default()
        };
        let photos: Vec<Photo> = shots.iter().map(photo).collect();
        let found = phones(&photos, (0..photos.len()).collect());
        for phone in &found {
            let names: Vec<&String> = phone.photos.iter().map(|&at| &shots[at].0).collect();
            if let Some((first, last)) = &phone.names {
                assert_eq!((names[0], names[names.len() - 1]), (first, last));
            }
        }
        let names = |phone: Phone| phone.photos.into_iter().map(|at| shots[at].0.clone());
        found
            .into_iter()
            .map(|phone| names(phone).collect())
            .collect()
    }

    /// Photos of a counter that begins at `first`, one every ten minutes from `minute` on.
    fn counted(first: u32, minute: i64, count: u32) -> Vec<(String, i64)> {
        (0..count)
            .map(|n| (format!("IMG_{:04}", first + n), minute + 10 * i64::from(n)))
            .collect()
    }

    fn sizes(shots: &[(String, i64)]) -> Vec<usize> {
        told_apart(shots).iter().map(Vec::len).collect()
    }

    #[test]
    fn phones_of_one_model_are_told_apart_by_their_counters() {
        let (one, two) = (counted(4101, 0, 9), counted(812, 3, 7));
        let found = told_apart(&[one.clone(), two.clone()].concat());
        let names = |shots: &[(String, i64)]| -> Vec<String> {
            shots.iter().map(|(name, _)| name.clone()).collect()
        };
        assert_eq!(found, [names(&two), names(&one)]);
        assert_eq!(
            sizes(&[one.clone(), two.clone(), counted(7000, 5, 5)].concat()),
            [7, 9, 5]
        );
        let other = vec![("kitchen".to_owned(), 4), ("hall".to_owned(), 5)];
        assert_eq!(sizes(&[one, two, other].concat()), [7, 9, 2]);
    }

    #[test]
    fn one_phone_stays_one() {
        assert_eq!(sizes(&counted(4101, 0, 20)), [20]);
        // Not interleaved: the phone was used for other things, or its counter began anew.
        let pause = [counted(4101, 0, 9), counted(4500, 200, 9)].concat();
        assert_eq!(sizes(&pause), [18]);
        let anew = [counted(9990, 0, 9), counted(1, 200, 9)].concat();
        assert_eq!(sizes(&anew), [18]);
        // Numbered by somebody, or clocks set: no counter is in order.
        let backwards: Vec<_> = counted(4101, 0, 9)
            .into_iter()
            .zip(counted(812, 3, 9).into_iter().rev())
            .map(|((name, _), (_, minute))| (name, minute))
            .collect();
        assert_eq!(sizes(&[backwards, counted(812, 3, 9)].concat()), [18]);
        // Three photos may be in order by chance.
        let few = [counted(4101, 0, 9), counted(812, 3, 3)].concat();
        assert_eq!(sizes(&few), [12]);
        let near = [counted(4101, 0, 9), counted(4150, 3, 9)].concat();
        assert_eq!(sizes(&near), [18]);
    }
}
