//! `report.html`: one self-contained page.
//!
//! The page needs no network: styles and scripts stand in the file and are admitted by their SHA-256 in a strict
//! content-security policy; each thumbnail is embedded once and shown wherever it is named. Everything that came
//! from a file name, a tag or a job sheet is spelled out by [`words::inert`] and escaped by the template engine.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Serde, Value};
use minijinja::{Environment, HtmlEscape};
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::error::{Error, ErrorKind};
use crate::report::v1::Report;
use crate::report::{Thumbnails, text, words};

mod evidence;
mod geometry;
mod judged;
mod matrix;
mod pictures;
mod plan;
mod sets;
mod timeline;

use pictures::Pictures;

/// Template files by the name they include one another with.
const TEMPLATES: &[(&str, &str)] = &[
    ("page.html", include_str!("templates/page.html")),
    ("macros.html", include_str!("templates/macros.html")),
    ("outcome.html", include_str!("templates/outcome.html")),
    ("retakes.html", include_str!("templates/retakes.html")),
    ("coverage.html", include_str!("templates/coverage.html")),
    ("view_sets.html", include_str!("templates/view_sets.html")),
    ("timeline.html", include_str!("templates/timeline.html")),
    ("plan.html", include_str!("templates/plan.html")),
    ("debris.html", include_str!("templates/debris.html")),
    ("findings.html", include_str!("templates/findings.html")),
    ("waived.html", include_str!("templates/waived.html")),
    ("evidence.html", include_str!("templates/evidence.html")),
    ("limits.html", include_str!("templates/limits.html")),
    ("kind.html", include_str!("templates/kind.html")),
    ("finding.html", include_str!("templates/finding.html")),
    ("legend.html", include_str!("templates/legend.html")),
    ("index.html", include_str!("templates/index.html")),
];

/// Styles of every page, in cascade order.
pub(crate) const STYLE: &str = concat!(
    include_str!("templates/base.css"),
    include_str!("templates/sections.css"),
    include_str!("templates/bench.css"),
    include_str!("templates/print.css"),
);

const SCRIPT: &str = concat!(
    include_str!("templates/filter.js"),
    include_str!("templates/heat.js"),
    include_str!("templates/bench.js"),
);

/// Everything the templates of a job's page read.
#[derive(Serialize)]
struct Page {
    policy: String,
    style: &'static str,
    script: &'static str,
    version: String,
    outcome: judged::Head,
    filters: judged::Filters,
    retakes: Vec<judged::RetakeEntry>,
    matrix: Vec<matrix::Row>,
    sets: Vec<sets::Card>,
    timeline: Option<timeline::Timeline>,
    plan: Option<plan::Plan>,
    debris: Option<evidence::DebrisTable>,
    groups: Vec<judged::Group>,
    tally: Vec<judged::AreaTally>,
    waived: Vec<judged::Kind>,
    photos: Vec<evidence::PhotoRow>,
    set_aside: evidence::SetAside,
    copies: Vec<evidence::CopyRow>,
    limits: Vec<(String, String)>,
    store: Vec<pictures::Stored>,
}

/// The whole page of one job.
///
/// # Errors
///
/// [`ErrorKind::Io`] when the page's templates do not fit the report, which is a defect of this program.
pub fn render(report: &Report, thumbnails: &Thumbnails) -> Result<String, Error> {
    let pictures = Pictures::new(report, thumbnails);
    let page = Page {
        policy: policy(&[STYLE], &[SCRIPT]),
        style: STYLE,
        script: SCRIPT,
        version: words::inert(&report.tool_version),
        outcome: judged::outcome(report),
        filters: judged::filters(report),
        retakes: judged::retakes(report, &pictures),
        matrix: matrix::rows(report, &pictures),
        sets: sets::cards(report, &pictures),
        timeline: timeline::chart(report),
        plan: plan::chart(report),
        debris: evidence::debris(report, &pictures),
        groups: judged::groups(report, &pictures),
        tally: judged::tally(report),
        waived: judged::waived(report, &pictures),
        photos: evidence::photos(report),
        set_aside: evidence::set_aside(report),
        copies: evidence::copies(report, &pictures),
        limits: evidence::limits(report),
        store: pictures.store(),
    };
    fill("page.html", page)
}

/// Fills one of [`TEMPLATES`].
pub(crate) fn fill<T: Serialize>(name: &str, page: T) -> Result<String, Error> {
    let defect = |error: minijinja::Error| {
        Error::new(
            ErrorKind::Io,
            format!("the page template {name} cannot be filled: {error}; please report this"),
        )
    };
    let mut environment = Environment::new();
    environment.add_filter("breakable", breakable);
    let syntax = SyntaxConfig::builder()
        .trim_blocks(true)
        .lstrip_blocks(true)
        .build();
    environment.set_syntax(syntax.map_err(defect)?);
    for (name, source) in TEMPLATES {
        environment.add_template(name, source).map_err(defect)?;
    }
    let template = environment.get_template(name).map_err(defect)?;
    template.render(Value::from(Serde(page))).map_err(defect)
}

/// A path, escaped, with a place to break the line before the file's name.
fn breakable(path: &str) -> Value {
    Value::from_safe_string(match path.rsplit_once('/') {
        Some((folder, name)) => format!("{}/<wbr>{}", HtmlEscape(folder), HtmlEscape(name)),
        None => HtmlEscape(path).to_string(),
    })
}

/// Content-security policy that admits exactly the given styles and scripts and pictures inside the file.
pub(crate) fn policy(styles: &[&str], scripts: &[&str]) -> String {
    let list = |texts: &[&str]| -> String {
        let hashes: Vec<String> = texts
            .iter()
            .map(|text| {
                format!(
                    "'sha256-{}'",
                    BASE64.encode(Sha256::digest(text.as_bytes()))
                )
            })
            .collect();
        if hashes.is_empty() {
            "'none'".into()
        } else {
            hashes.join(" ")
        }
    };
    format!(
        "default-src 'none'; img-src data:; style-src {}; script-src {}; base-uri 'none'; form-action 'none'",
        list(styles),
        list(scripts)
    )
}

/// `Kitchen, after` of a retake, shared with the terminal report.
pub(crate) use text::place;
