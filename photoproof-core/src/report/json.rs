//! `report.json`: the report, complete, byte for byte the same for the same job.

use std::io;

use serde::Serialize;
use serde_json::ser::{Formatter, PrettyFormatter, Serializer};

use crate::report::v1::Report;

/// Decimals kept of every number: 1e-9 degrees of latitude is 0.1 mm, and rounding errors of the last bits
/// (which differ between processors) do not reach the file.
const DECIMALS: i32 = 9;

/// The report as indented JSON with a closing newline. Numbers are rounded to nine decimals.
#[must_use]
pub fn render(report: &Report) -> String {
    render_value(report)
}

/// As [`render`], for any value.
pub(crate) fn render_value<T: Serialize>(value: &T) -> String {
    let mut bytes = Vec::new();
    let mut serializer = Serializer::with_formatter(&mut bytes, Stable(PrettyFormatter::new()));
    if value.serialize(&mut serializer).is_err() {
        // Writing to memory cannot fail and every map of the report has text keys.
        return String::new();
    }
    bytes.push(b'\n');
    String::from_utf8(bytes).unwrap_or_default()
}

struct Stable(PrettyFormatter<'static>);

impl Formatter for Stable {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        let scale = 10_f64.powi(DECIMALS);
        let rounded = (value * scale).round() / scale;
        // Adding zero turns -0 into 0; very large numbers are left alone.
        let kept = if rounded.is_finite() {
            rounded + 0.0
        } else {
            value
        };
        self.0.write_f64(writer, kept)
    }

    fn begin_array<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_array(writer)
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array(writer)
    }

    fn begin_array_value<W: ?Sized + io::Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_array_value(writer, first)
    }

    fn end_array_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array_value(writer)
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object(writer)
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object(writer)
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_object_key(writer, first)
    }

    fn begin_object_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object_value(writer)
    }

    fn end_object_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object_value(writer)
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn numbers_are_stable() {
        let text = super::render_value(&[0.1 + 0.2, -0.0, 1.0, 41.581_234_567_89, f64::NAN]);
        let flat: String = text.split_whitespace().collect();
        assert_eq!(flat, "[0.3,0.0,1.0,41.581234568,null]");
    }
}
