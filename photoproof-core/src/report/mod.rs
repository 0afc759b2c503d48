//! Judgement to bytes. Decides nothing.
//!
//! Every writer takes the frozen [`v1::Report`] and returns text. Text that came from a file name, a tag or
//! a job sheet passes through [`words`] (or the format's own escaping) before it is written.

pub mod build;
mod convert;
pub mod csv;
pub mod html;
pub mod index;
pub mod inspect;
pub mod json;
pub mod junit;
pub mod sarif;
pub mod shape;
pub mod text;
pub mod v1;
pub mod words;

pub use crate::thumbnail::{Thumbnail, Thumbnails};
