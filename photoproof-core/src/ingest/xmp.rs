//! The few XMP properties that state when and with what a photo was taken. They complete Exif and
//! never replace it.

use std::collections::BTreeMap;

use quick_xml::events::{BytesStart, Event};
use quick_xml::name::ResolveResult;
use quick_xml::reader::NsReader;

use crate::ingest::container::Blocks;
use crate::ingest::date_text::iso_time;
use crate::ingest::exif::{ExifFacts, clean_text};
use crate::ingest::options::IngestOptions;
use crate::ingest::traces::{Program, ProgramSource};
use crate::ingest::{CaptureTime, TimeSource};

/// Namespaces of the properties read (XMP specification part 2, section 8; Exif schema for XMP, CIPA
/// DC-010).
const EXIF: &[u8] = b"http://ns.adobe.com/exif/1.0/";
const TIFF: &[u8] = b"http://ns.adobe.com/tiff/1.0/";
const XMP: &[u8] = b"http://ns.adobe.com/xap/1.0/";
const EVENT: &[u8] = b"http://ns.adobe.com/xap/1.0/sType/ResourceEvent#";
const PHOTOSHOP: &[u8] = b"http://ns.adobe.com/photoshop/1.0/";

/// Names of properties that are kept, with the namespace they must have.
const WANTED: [(&[u8], &str); 9] = [
    (EXIF, "DateTimeOriginal"),
    (EXIF, "DateTimeDigitized"),
    (PHOTOSHOP, "DateCreated"),
    (XMP, "CreateDate"),
    (XMP, "CreatorTool"),
    (TIFF, "Make"),
    (TIFF, "Model"),
    (TIFF, "Orientation"),
    (EVENT, "softwareAgent"),
];

/// Deepest nesting of elements that is followed.
const MAX_DEPTH: usize = 64;

/// Most elements and pieces of text that are read.
const MAX_EVENTS: usize = 100_000;

/// Most values of one property that are kept: a history names a program for each change.
const MAX_VALUES: usize = 16;

/// Adds what XMP and PNG's creation text say to `facts`.
pub(crate) fn complete(facts: &mut ExifFacts, blocks: &Blocks<'_>, options: &IngestOptions) {
    if let Some(packet) = blocks.xmp.as_deref() {
        if packet.len() > options.max_metadata_bytes {
            facts
                .problems
                .push("XMP is larger than max_metadata_bytes and was not read".to_owned());
        } else {
            add(facts, &properties(packet));
        }
    }
    if let Some(text) = blocks.creation_text.and_then(clean_text) {
        add_time(facts, &text);
    }
}

type Found = BTreeMap<&'static str, Vec<String>>;

fn add(facts: &mut ExifFacts, found: &Found) {
    let first = |name: &str| found.get(name).and_then(|values| values.first());
    for name in [
        "DateTimeOriginal",
        "DateCreated",
        "CreateDate",
        "DateTimeDigitized",
    ] {
        if let Some(text) = first(name) {
            add_time(facts, text);
        }
    }
    let take = |slot: &mut Option<String>, name: &str| {
        if slot.is_none() {
            *slot = first(name).cloned();
        }
    };
    take(&mut facts.camera.make, "Make");
    take(&mut facts.camera.model, "Model");
    for (property, source) in [
        ("CreatorTool", ProgramSource::CreatorTool),
        ("softwareAgent", ProgramSource::History),
    ] {
        let names = found.get(property).into_iter().flatten().cloned();
        let programs = names.map(|name| Program { source, name });
        facts.traces.programs.extend(programs);
    }
}

fn add_time(facts: &mut ExifFacts, text: &str) {
    let Some((civil, offset)) = iso_time(text) else {
        return;
    };
    let time = CaptureTime {
        civil,
        offset,
        source: TimeSource::Container,
    };
    if !facts.times.contains(&time) {
        facts.times.push(time);
    }
}

/// Wanted properties of a packet, written as elements or as attributes; the first of each. A packet
/// that is no XML gives what stands before the fault.
fn properties(packet: &[u8]) -> Found {
    let mut reader = NsReader::from_reader(packet);
    reader.config_mut().check_end_names = false;
    let mut found = BTreeMap::new();
    let mut open: Vec<Option<&'static str>> = Vec::new();
    for _ in 0..MAX_EVENTS {
        match reader.read_event() {
            Ok(Event::Start(element)) if open.len() < MAX_DEPTH => {
                attributes(&reader, &element, &mut found);
                open.push(wanted(&reader.resolver().resolve_element(element.name())));
            }
            Ok(Event::Empty(element)) => attributes(&reader, &element, &mut found),
            Ok(Event::End(_)) => {
                open.pop();
            }
            Ok(Event::Text(text)) => {
                // A value may lie in rdf:Alt or rdf:Seq inside the property.
                let name = open.iter().rev().take(3).flatten().next();
                if let (Some(name), Some(text)) = (name, clean_text(text.as_ref())) {
                    keep(&mut found, name, text);
                }
            }
            Ok(Event::Eof | Event::Start(_)) | Err(_) => break,
            Ok(_) => {}
        }
    }
    found
}

fn attributes(reader: &NsReader<&[u8]>, element: &BytesStart<'_>, found: &mut Found) {
    for attribute in element.attributes().with_checks(false).flatten().take(200) {
        let name = wanted(&reader.resolver().resolve_attribute(attribute.key));
        if let (Some(name), Some(text)) = (name, clean_text(&attribute.value)) {
            keep(found, name, text);
        }
    }
}

fn keep(found: &mut Found, name: &'static str, text: String) {
    let values = found.entry(name).or_default();
    if values.len() < MAX_VALUES && !values.contains(&text) {
        values.push(text);
    }
}

fn wanted(
    (namespace, local): &(ResolveResult<'_>, quick_xml::name::LocalName<'_>),
) -> Option<&'static str> {
    let ResolveResult::Bound(namespace) = namespace else {
        return None;
    };
    let hit = |(wanted, name): &&(&[u8], &'static str)| {
        *wanted == namespace.0 && name.as_bytes() == local.as_ref()
    };
    WANTED.iter().find(hit).map(|(_, name)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_to_write_a_property_are_read() {
        let packet = br#"<?xpacket begin="" id="x"?><x:xmpmeta xmlns:x="adobe:ns:meta/">
            <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
            <rdf:Description xmlns:a="http://ns.adobe.com/xap/1.0/" a:CreateDate="2026-03-02T14:15:02-06:00"
              xmlns:tiff="http://ns.adobe.com/tiff/1.0/"><tiff:Make> Maker &amp; Co </tiff:Make></rdf:Description>
            <rdf:Description xmlns:other="urn:x" other:Model="no"/></rdf:RDF></x:xmpmeta>"#;
        let found = properties(packet);
        assert_eq!(found["CreateDate"], ["2026-03-02T14:15:02-06:00"]);
        assert!(
            found
                .get("Make")
                .is_some_and(|make| make[0].starts_with("Maker"))
        );
        assert_eq!(found.get("Model"), None);
    }

    #[test]
    fn a_history_names_each_program_once() {
        let packet = br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"
            xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"
            xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/"
            xmlns:e="http://ns.adobe.com/xap/1.0/sType/ResourceEvent#"><xmpMM:History><rdf:Seq>
            <rdf:li e:action="saved" e:softwareAgent="Alpha 1"/><rdf:li e:softwareAgent="Alpha 1"/>
            <rdf:li><e:softwareAgent>Beta 2</e:softwareAgent></rdf:li></rdf:Seq></xmpMM:History></x:xmpmeta>"#;
        assert_eq!(properties(packet)["softwareAgent"], ["Alpha 1", "Beta 2"]);
    }

    #[test]
    fn broken_packets_end_quietly() {
        for packet in [
            &b""[..],
            b"<",
            b"<a",
            b"<a><b></a>",
            b"\xff\xfe<\0a",
            b"<!DOCTYPE a [<!ENTITY b 'c'>]>",
        ] {
            let _ = properties(packet);
        }
        let deep = "<a>".repeat(100_000);
        assert!(properties(deep.as_bytes()).is_empty());
    }
}
