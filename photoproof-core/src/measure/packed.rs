//! Pictures and features as plain runs of bytes, for the cache of measures.

use std::borrow::Cow;

use serde::de::{Deserialize, Deserializer, Error, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::measure::feature::{DESCRIPTOR_LEN, Feature, Keypoint};

/// A run of bytes, borrowed where the format allows it.
struct Bytes<'a>(Cow<'a, [u8]>);

impl Serialize for Bytes<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_bytes(&self.0)
    }
}

impl<'de> Deserialize<'de> for Bytes<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Run;
        impl<'de> Visitor<'de> for Run {
            type Value = Bytes<'de>;

            fn expecting(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                out.write_str("a run of bytes")
            }

            fn visit_borrowed_bytes<E: Error>(self, bytes: &'de [u8]) -> Result<Self::Value, E> {
                Ok(Bytes(Cow::Borrowed(bytes)))
            }

            fn visit_bytes<E: Error>(self, bytes: &[u8]) -> Result<Self::Value, E> {
                Ok(Bytes(Cow::Owned(bytes.to_vec())))
            }
        }
        deserializer.deserialize_bytes(Run)
    }
}

/// An 8-bit picture: width, height, samples.
pub(crate) mod picture {
    use super::*;
    use image::{ImageBuffer, Pixel};

    pub(crate) fn serialize<P: Pixel<Subpixel = u8>, S: Serializer>(
        picture: &ImageBuffer<P, Vec<u8>>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        let samples = Bytes(Cow::Borrowed(picture.as_raw()));
        (picture.width(), picture.height(), samples).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, P: Pixel<Subpixel = u8>, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<ImageBuffer<P, Vec<u8>>, D::Error> {
        let (width, height, Bytes(samples)) = <(u32, u32, Bytes<'de>)>::deserialize(deserializer)?;
        let needed = u64::from(width) * u64::from(height) * u64::from(P::CHANNEL_COUNT);
        if needed != samples.len() as u64 {
            return Err(D::Error::custom("the samples do not fill the picture"));
        }
        ImageBuffer::from_raw(width, height, samples.into_owned())
            .ok_or_else(|| D::Error::custom("the samples do not fill the picture"))
    }
}

/// Bytes of one packed feature: five floats, one flag, the descriptor.
const FEATURE: usize = 5 * 4 + 1 + DESCRIPTOR_LEN;
/// Largest value of a descriptor.
const DESCRIPTOR_MAX: u8 = 127;

/// Features one after the other, 149 bytes each.
pub(crate) mod features {
    use super::*;

    pub(crate) fn serialize<S: Serializer>(
        list: &[Feature],
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        let mut packed = Vec::with_capacity(list.len() * FEATURE);
        for feature in list {
            let point = &feature.keypoint;
            for value in [point.x, point.y, point.scale, point.angle, point.response] {
                packed.extend(value.to_le_bytes());
            }
            packed.push(u8::from(point.bright));
            packed.extend(feature.descriptor);
        }
        Bytes(Cow::Owned(packed)).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Vec<Feature>, D::Error> {
        let Bytes(packed) = Bytes::deserialize(deserializer)?;
        let (features, rest) = packed.as_chunks::<FEATURE>();
        let list: Option<Vec<Feature>> = features.iter().map(unpacked).collect();
        match list {
            Some(list) if rest.is_empty() => Ok(list),
            _ => Err(D::Error::custom("not a list of features")),
        }
    }
}

/// `None` if a value is outside its range.
fn unpacked(packed: &[u8; FEATURE]) -> Option<Feature> {
    let (floats, rest) = packed.split_at(5 * 4);
    let mut floats = floats.as_chunks::<4>().0.iter().copied();
    let mut float = || {
        let value = f32::from_le_bytes(floats.next()?);
        value.is_finite().then_some(value)
    };
    let (bright, descriptor) = rest.split_first()?;
    let descriptor: [u8; DESCRIPTOR_LEN] = descriptor.try_into().ok()?;
    let keypoint = Keypoint {
        x: float()?,
        y: float()?,
        scale: float()?,
        angle: float()?,
        response: float()?,
        bright: *bright == 1,
    };
    let in_range = descriptor.iter().all(|value| *value <= DESCRIPTOR_MAX);
    in_range.then_some(Feature {
        keypoint,
        descriptor,
    })
}

#[cfg(test)]
mod tests {
    use image::GrayImage;
    use serde::{Deserialize, Serialize};

    use crate::measure::Features;

    #[derive(Debug, PartialEq, Serialize, Deserialize)]
    struct Both {
        #[serde(with = "super::picture")]
        picture: GrayImage,
        features: Features,
    }

    fn sample() -> Both {
        let picture = GrayImage::from_fn(96, 64, |x, y| {
            image::Luma([((x / 7 * 31) ^ (y / 5 * 57)) as u8])
        });
        let features = Features::from_gray(&picture, Some(80.5));
        assert!(!features.list.is_empty());
        Both { picture, features }
    }

    #[test]
    fn what_is_packed_comes_back_exactly() {
        let bytes = postcard::to_allocvec(&sample()).unwrap();
        assert_eq!(postcard::from_bytes::<Both>(&bytes).unwrap(), sample());
    }

    #[test]
    fn a_wrong_size_and_a_value_out_of_range_are_refused() {
        let wrong = (9_u32, 9_u32, b"1234".as_slice());
        let bytes = postcard::to_allocvec(&wrong).unwrap();
        let mut reader = postcard::Deserializer::from_bytes(&bytes);
        assert!(super::picture::deserialize::<image::Luma<u8>, _>(&mut reader).is_err());
        let mut sample = sample();
        sample.features.list[0].descriptor[3] = 128;
        let bytes = postcard::to_allocvec(&sample).unwrap();
        assert!(postcard::from_bytes::<Both>(&bytes).is_err());
    }
}
