//! Mistakes of a configuration file, placed: line, full key, what is allowed.

use std::path::Path;

use serde::Deserialize;
use toml::Spanned;

use super::{ConfigError, VERSION};
use crate::errors::Code;

/// A file's text, to place mistakes in it.
pub(super) struct Source<'a> {
    pub(super) text: &'a str,
    pub(super) path: &'a Path,
}

impl Source<'_> {
    /// Before anything else: a newer file may have keys that this program cannot know.
    pub(super) fn check_version(&self) -> Result<(), ConfigError> {
        #[derive(Deserialize)]
        struct Versioned {
            version: Option<Spanned<toml::Value>>,
        }
        let file: Versioned = toml::from_str(self.text).map_err(|e| self.refused(&e))?;
        let Some(version) = file.version else {
            let message =
                format!("the version is missing: write `version = {VERSION}` as the first line");
            return Err(self.mistake(Code::ConfigVersion, Some(0), message));
        };
        if version.get_ref().as_integer() == Some(VERSION) {
            return Ok(());
        }
        let message = format!(
            "`version` is {}, this program reads {VERSION}: update the program or write the file for {VERSION}",
            version.get_ref()
        );
        Err(self.mistake(Code::ConfigVersion, Some(version.span().start), message))
    }

    /// The parser's refusal with the key's full name.
    pub(super) fn refused(&self, error: &toml::de::Error) -> ConfigError {
        let at = error.span().map(|s| s.start);
        let key = at.and_then(|at| self.key(at)).unwrap_or_default();
        let said = error.message().replace('\n', "; ");
        if let Some((_, allowed)) = said
            .split_once("unknown field")
            .and_then(|(_, rest)| rest.split_once(", "))
        {
            let message = format!("unknown key `{key}`, {allowed}");
            return self.mistake(Code::ConfigUnknownKey, at, message);
        }
        // Read as plain TOML the text tells whether the form or a value is wrong.
        if self.text.parse::<toml::Table>().is_err() {
            return self.mistake(Code::ConfigSyntax, at, said);
        }
        self.mistake(Code::ConfigValue, at, format!("`{key}`: {said}"))
    }

    /// Bays that do not go together, placed at the first of the further ones.
    pub(super) fn mistaken_bays(&self, why: String) -> ConfigError {
        self.mistake(Code::ConfigValue, self.text.find("[[bays]]"), why)
    }

    /// The dotted key on the line of byte `at`: its section, and what stands before `=`.
    fn key(&self, at: usize) -> Option<String> {
        let before = self.text.get(..at)?;
        let start = before.rfind('\n').map_or(0, |n| n + 1);
        let line = self.text.get(start..)?.lines().next()?;
        let header = |line: &str| {
            Some(
                line.trim()
                    .strip_prefix('[')?
                    .trim_start_matches('[')
                    .split(']')
                    .next()?
                    .trim()
                    .to_owned(),
            )
        };
        if let Some(section) = header(line) {
            return Some(section);
        }
        let name = line.split('=').next()?.trim();
        let section = self.text.get(..start)?.lines().rev().find_map(header);
        Some(section.map_or_else(|| name.to_owned(), |s| format!("{s}.{name}")))
    }

    fn mistake(&self, code: Code, at: Option<usize>, message: String) -> ConfigError {
        let line = at
            .and_then(|at| self.text.get(..at))
            .map(|b| b.matches('\n').count() + 1);
        ConfigError {
            code,
            path: self.path.display().to_string(),
            line,
            message,
        }
    }
}
