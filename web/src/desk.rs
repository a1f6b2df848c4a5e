//! The open files of one display, and the last compile of them.

use crate::ask::{Answer, Ask};
use crate::{edit, rows};
use serde::Serialize;
use serde_json::json;
use std::collections::BTreeMap;
use std::io::{self, Cursor, Write as _};
use tinsel::diff::{self, Changes};
use tinsel::editor::desk::Desk;
use tinsel::output::{self, mvr, svg};
use tinsel::source::{Loaded, Memory};
use tinsel::survey::View;
use tinsel::{Compiled, explain, format, graph, import, page, report, rules, usage, why};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Width of prose in columns.
const WIDTH: usize = 76;

/// The files that are open, and the last compile.
#[derive(Default)]
pub struct Shelf {
    texts: BTreeMap<String, Vec<u8>>,
    desk: Desk,
}

/// The result of a compile.
#[derive(Serialize)]
struct Outcome {
    /// `2 errors, 1 warning`.
    count: String,
    /// Whether errors leave addresses in doubt, so that there is no table.
    blocks: bool,
    /// Whether there are errors.
    errors: bool,
    /// Whether a build would leave the lock as it is.
    stands: bool,
    /// What a build would change; `None` where there is no lock.
    build: Option<Build>,
    /// How many strings have an address.
    strings: usize,
    /// Every file of the display.
    files: Vec<String>,
}

/// How many strings a build keeps, adds, moves and frees.
#[derive(Serialize)]
struct Build {
    kept: usize,
    new: usize,
    moved: usize,
    freed: usize,
}

impl Shelf {
    /// Answers one question.
    ///
    /// # Errors
    /// Why it can't, in words.
    pub fn answer(&mut self, ask: Ask, body: &[u8]) -> Result<Answer, String> {
        match ask {
            Ask::Put { name } => {
                self.texts.insert(name, body.to_owned());
                Answer::bytes(Vec::new())
            }
            Ask::Drop { name } => {
                self.texts.remove(&name);
                Answer::bytes(Vec::new())
            }
            Ask::Compile { main } => self.compile(&main),
            Ask::Rows(wanted) => {
                let compiled = self.with_table()?;
                let view = View::new(&compiled.model, &compiled.plan);
                Answer::new(
                    &rows::rows(&view, compiled.plan.universe_slots.each(), &wanted)?,
                    Vec::new(),
                )
            }
            Ask::Make { form, by } => Answer::bytes(self.make(&form, by.as_deref())?),
            Ask::Format { name } => self.format(&name),
            Ask::Import { name } => imported(&name, body),
            Ask::Explain { code } => explained(&code),
            Ask::Why { name } => self.why(&name),
            Ask::Said { name, lines } => head(&edit::said(&self.desk, &name, lines)?),
            Ask::Hover(place) => head(&edit::hovered(&self.desk, &place)?),
            Ask::Complete(place) => head(&edit::offers(&self.desk, &place)?),
            Ask::Name(place) => head(&json!({ "word": edit::name(&self.desk, &place)? })),
            Ask::Rename { place, to } => {
                head(&json!({ "edits": edit::renamed(&self.desk, &place, &to)? }))
            }
            Ask::Actions(place) => head(&json!({ "actions": edit::offered(&self.desk, &place)? })),
            Ask::Definition(place) => {
                head(&json!({ "places": edit::declared(&self.desk, &place)? }))
            }
        }
    }

    fn loaded(&self, name: &str) -> Option<Loaded> {
        let bytes = self.texts.get(name)?.clone();
        Some(Loaded { identity: name.to_owned(), name: name.to_owned(), bytes })
    }

    /// Compiles. The body of the answer has the findings as `check --format json` prints them.
    fn compile(&mut self, main: &str) -> Result<Answer, String> {
        let text = self.loaded(main).ok_or("there is no such file")?;
        let lock = self.loaded(&lock_of(main));
        let texts = self.texts.iter();
        let files = texts.fold(Memory::default(), |files, (name, text)| files.with(name, text));
        let compiled = self.desk.compile(&files, text, lock);
        let findings = written(|out| findings(compiled, out))?;
        let past = compiled.plan.past.as_ref();
        let build = usage::changes(&compiled.plan).map(|changes| Build {
            kept: changes.kept.len(),
            new: changes.new.len(),
            moved: changes.moved.len(),
            freed: past.map_or(0, |past| past.freed.len()),
        });
        let outcome = Outcome {
            count: report::count(&compiled.findings),
            blocks: compiled.blocks(),
            errors: compiled.has_errors(),
            stands: compiled.lock_stands(),
            build,
            strings: compiled.plan.placed.iter().flatten().count(),
            files: compiled.sources.files().iter().map(|file| file.name.clone()).collect(),
        };
        Answer::new(&outcome, findings)
    }

    fn compiled(&self) -> Result<&Compiled, String> {
        self.desk.compiled().ok_or_else(|| "nothing is compiled yet".to_owned())
    }

    /// The last compile, unless errors leave addresses in doubt.
    fn with_table(&self) -> Result<&Compiled, String> {
        let compiled = self.compiled()?;
        if compiled.blocks() {
            return Err("errors leave no table to trust; put them right first".to_owned());
        }
        Ok(compiled)
    }

    fn make(&self, form: &str, by: Option<&str>) -> Result<Vec<u8>, String> {
        if form == "zip" {
            return self.zip().map_err(in_words);
        }
        let compiled = self.with_table()?;
        let (model, plan) = (&compiled.model, &compiled.plan);
        match form {
            "lock" => Ok(compiled.next_lock().into_bytes()),
            "report" => Ok(page::single(compiled).into_bytes()),
            "changes" => {
                let lock = compiled.lock.as_ref().map(|lock| &lock.lock);
                let changes = Changes::of(model, plan, lock);
                written(|out| diff::text::write(&changes, WIDTH, out))
            }
            "mvr" => mvr::render(model, plan).map_err(in_words),
            "svg" => written(|out| svg::render(&graph::of(model), None, out)),
            _ => {
                let write = output::find(form);
                let write = write.ok_or_else(|| format!("no form is called {form}"))?;
                let view = View::new(model, plan);
                written(|out| write(&view.survey(by), 100, out))
            }
        }
    }

    /// All open files in one archive; the same files give the same bytes.
    fn zip(&self) -> zip::result::ZipResult<Vec<u8>> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .last_modified_time(DateTime::default());
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, text) in &self.texts {
            archive.start_file(name.as_str(), options)?;
            archive.write_all(text)?;
        }
        Ok(archive.finish()?.into_inner())
    }

    fn format(&self, name: &str) -> Result<Answer, String> {
        let text = self.loaded(name).ok_or("there is no such file")?;
        match format::format(&text).result {
            Ok(text) => Answer::bytes(text.into_bytes()),
            Err(_) => Err("it has errors of syntax, so its layout stays as it is".to_owned()),
        }
    }

    fn why(&self, name: &str) -> Result<Answer, String> {
        let compiled = self.compiled()?;
        let strings = why::find(&compiled.model, name);
        let text = written(|out| {
            let told = (&compiled.model, &compiled.plan, &compiled.sources);
            let mut strings = strings.iter();
            strings.try_for_each(|id| why::write(told, *id, WIDTH, out))
        })?;
        Answer::bytes(text)
    }
}

/// The name of the lock beside a main file.
fn lock_of(main: &str) -> String {
    let name = std::path::Path::new(main).with_extension("lock");
    name.to_string_lossy().into_owned()
}

fn findings(compiled: &Compiled, out: &mut Vec<u8>) -> io::Result<()> {
    let json = report::ALL.iter().find(|(name, _)| *name == "json");
    json.map_or(Ok(()), |(_, write)| write(&compiled.sources, &compiled.findings, out))
}

/// An answer without a body.
fn head(head: &impl Serialize) -> Result<Answer, String> {
    Answer::new(head, Vec::new())
}

fn imported(name: &str, bytes: &[u8]) -> Result<Answer, String> {
    let import = import::import(name, bytes, &import::Reading::default())?;
    let notes: Vec<String> = import.notes.iter().map(ToString::to_string).collect();
    let lost = import.notes.iter().any(import::Note::is_doubt);
    let head = json!({ "notes": notes, "lost": lost, "rows": import.rows, "props": import.props });
    Answer::new(&head, import.text.into_bytes())
}

fn explained(code: &str) -> Result<Answer, String> {
    let rule = rules::find(code).ok_or_else(|| format!("there is no code {code}"))?;
    Answer::bytes(written(|out| explain::page(rule, WIDTH, out))?)
}

fn written(write: impl FnOnce(&mut Vec<u8>) -> io::Result<()>) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    write(&mut bytes).map_err(in_words)?;
    Ok(bytes)
}

fn in_words(error: impl ToString) -> String {
    error.to_string()
}
