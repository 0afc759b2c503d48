//! `photoproof seal JOB_FOLDER` and `photoproof verify JOB_FOLDER`

use std::path::PathBuf;

use photoproof_core::Error;
use photoproof_core::report::words::{count, inert};
use photoproof_core::seal::{self, Kind, Place, Request, Verification};

use crate::exit::Exit;
use crate::style;

/// Said with every answer, so that nobody takes one for the other.
const MEANING: &str = "A matching checksum shows that a file is unchanged since it was sealed (integrity).\n\
It does not show who took a photo, where or when (authenticity).\n";

/// Arguments of `seal`.
#[derive(Debug, clap::Args)]
pub(crate) struct SealArgs {
    /// Job folder; it is copied and stays as it is
    #[arg(value_name = "JOB_FOLDER")]
    folder: PathBuf,
    /// Report folder to seal with it (the --out of check)
    #[arg(long, value_name = "DIR")]
    report: Option<PathBuf>,
    /// Bag to make [default: JOB_FOLDER.bag beside the job folder]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Arguments of `verify`.
#[derive(Debug, clap::Args)]
pub(crate) struct VerifyArgs {
    /// Job folder with its bag beside it, or a bag
    #[arg(value_name = "JOB_FOLDER")]
    folder: PathBuf,
    /// Bag to compare the job folder with [default: JOB_FOLDER.bag]
    #[arg(long, value_name = "DIR")]
    bag: Option<PathBuf>,
}

/// Runs `seal`.
pub(crate) fn run(args: &SealArgs) -> Result<Exit, Error> {
    let bag = args
        .out
        .clone()
        .unwrap_or_else(|| seal::usual_bag(&args.folder));
    let sealed = seal::seal(&Request {
        folder: &args.folder,
        report: args.report.as_deref(),
        bag: &bag,
        day: chrono::Local::now().date_naive(),
    })?;
    style::results(&format!(
        "Sealed {} ({} bytes) in {}\nSHA-256 of the manifest, to keep elsewhere: {}\n\n{MEANING}",
        count(sealed.files, "file"),
        sealed.bytes,
        bag.display(),
        sealed.manifest_sha256
    ));
    Ok(Exit::Clean)
}

/// Runs `verify`.
pub(crate) fn run_verify(args: &VerifyArgs) -> Result<Exit, Error> {
    let answer = seal::verify(&args.folder, args.bag.as_deref())?;
    style::results(&text(&answer));
    Ok(if answer.problems.is_empty() {
        Exit::Clean
    } else {
        Exit::Findings
    })
}

fn text(answer: &Verification) -> String {
    let mut text = match answer.problems.len() {
        0 => format!(
            "INTACT: {} unchanged since sealing.\n",
            count(answer.files, "file")
        ),
        n => format!(
            "DIFFERENT: {} from what was sealed.\n",
            count(n, "difference")
        ),
    };
    text.push_str(&format!("Bag: {}\n", answer.bag.display()));
    for problem in &answer.problems {
        let kind = match problem.kind {
            Kind::Changed => "changed",
            Kind::Missing => "missing",
            Kind::Added => "added",
            Kind::Outside => "names a place outside the bag, not opened",
        };
        let place = match problem.place {
            Place::Bag => "in the bag",
            Place::Folder => "in the job folder",
        };
        text.push_str(&format!("  {kind}: {} ({place})\n", inert(&problem.path)));
    }
    text.push('\n');
    text.push_str(MEANING);
    text
}
