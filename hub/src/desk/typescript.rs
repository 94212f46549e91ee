//! The desk's types for the screens: one TypeScript file a type, and the table of commands.
//!
//! The checked-in copies stand in `ui/src/bridge/types`; a test fails when they are stale.

use std::fmt::Write as _;
use std::path::Path;

use ts_rs::{Config, ExportError, TS};

use super::attachments::ATTACHED_FILE_BYTES_MAX;
use super::refusal::Refusal;
use super::rights::Right;

/// Collects the table of commands while writing each command's types.
pub(super) struct Visit<'a> {
    config: &'a Config,
    table: String,
    rights: String,
    imports: Vec<String>,
    result: Result<(), ExportError>,
}

impl Visit<'_> {
    pub(super) fn command<Asks: TS + 'static, Gives: TS + 'static>(
        &mut self,
        name: &str,
        right: Right,
    ) {
        for exported in [Asks::export_all(self.config), Gives::export_all(self.config)] {
            if self.result.is_ok() {
                self.result = exported;
            }
        }
        let (asks, gives) = (Asks::name(self.config), Gives::name(self.config));
        writeln!(self.table, "  \"{name}\": {{ asks: {asks}; gives: {gives} }};")
            .expect("a String takes all text");
        let right = serde_json::to_string(&right).expect("a word");
        writeln!(self.rights, "  \"{name}\": {right},").expect("as above");
        self.imports.extend([asks, gives]);
    }
}

/// Writes every type a screen meets into `dir`.
pub fn write_types(dir: &Path) -> Result<(), ExportError> {
    let config = Config::new().with_out_dir(dir).with_large_int("number");
    Refusal::export_all(&config)?;
    Right::export_all(&config)?;
    let mut visit = Visit {
        config: &config,
        table: String::new(),
        rights: String::new(),
        imports: Vec::new(),
        result: Ok(()),
    };
    super::each_command(&mut visit);
    visit.result?;
    visit.imports.push("Right".to_owned());
    visit.imports.sort();
    visit.imports.dedup();
    let mut text = String::from("// Generated from the desk's table of commands. Do not edit.\n");
    for name in &visit.imports {
        writeln!(text, "import type {{ {name} }} from \"./{name}\";").expect("as above");
    }
    write!(
        text,
        "\n/** What each command asks and gives. */\nexport interface Commands {{\n{}}}\n",
        visit.table
    )
    .expect("as above");
    write!(
        text,
        "\n/** What each command takes. */\nexport const RIGHTS: Record<keyof Commands, Right> = \
         {{\n{}}};\n",
        visit.rights
    )
    .expect("as above");
    write!(
        text,
        "\n/** The longest file that one body to `attach` carries, in bytes. */\n\
         export const ATTACHED_FILE_BYTES_MAX = {ATTACHED_FILE_BYTES_MAX};\n"
    )
    .expect("as above");
    std::fs::write(dir.join("Commands.ts"), text).map_err(ExportError::Io)
}
