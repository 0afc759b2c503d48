//! The shot list a crew takes to the house: the scope of a job, area by area, with its cautions.
//!
//! In comes a [`JobSheet`], out goes text, JSON or one printable page. Nothing is judged here.

mod html;
mod list;
mod text;

pub use list::{Advice, ListArea, ListCaution, ListJob, ListShot, ShotList, Totals};

use crate::error::{Error, ErrorKind};
use crate::job::JobSheet;

impl ShotList {
    /// The shot list of the job that `sheet` describes.
    #[must_use]
    pub fn for_job(sheet: &JobSheet) -> Self {
        list::build(sheet)
    }

    /// For a terminal or a plain printer.
    #[must_use]
    pub fn to_text(&self) -> String {
        text::render(self)
    }

    /// For other programs: one JSON object (`photoproof.shots/1`) and a line feed.
    ///
    /// # Errors
    ///
    /// When the list cannot be written as JSON, which is a defect of this program.
    pub fn to_json(&self) -> Result<String, Error> {
        serde_json::to_string_pretty(self)
            .map(|text| text + "\n")
            .map_err(|e| Error::new(ErrorKind::Io, format!("cannot write JSON: {e}")))
    }

    /// For a printer or a phone: one self-contained page with boxes to tick, no network.
    ///
    /// # Errors
    ///
    /// When the page's template does not fit the list, which is a defect of this program.
    pub fn to_html(&self) -> Result<String, Error> {
        html::render(self)
    }
}
