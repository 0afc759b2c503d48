//! Judgement to bytes. Decides nothing.
//!
//! Every writer takes the frozen [`v1::Report`] and returns text. Text that came from a file name, a tag or
//! a job sheet passes through [`words`] (or the format's own escaping) before it is written.

use std::collections::BTreeMap;

pub mod csv;
pub mod html;
pub mod index;
pub mod json;
pub mod junit;
pub mod sarif;
pub mod shape;
pub mod text;
pub mod v1;
pub mod words;

/// A small upright copy of a photo, for the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thumbnail {
    /// JPEG bytes.
    pub jpeg: Vec<u8>,
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
}

/// Thumbnails by path relative to the job folder.
pub type Thumbnails = BTreeMap<String, Thumbnail>;
