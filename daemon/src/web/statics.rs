//! The files of `dashboard-static/`: embedded in the program, or from a folder while developing.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{Method, StatusCode};
use axum::response::{IntoResponse, Response};
use include_dir::{Dir, include_dir};

static EMBEDDED: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/../dashboard-static");

/// Where the static files come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Statics {
    /// From inside the program.
    Embedded,
    /// From this folder, read anew for each request.
    Folder(PathBuf),
}

/// Types by the end of a name. What is missing here goes out as plain bytes.
const TYPES: [(&str, &str); 9] = [
    ("html", "text/html; charset=utf-8"),
    ("js", "text/javascript; charset=utf-8"),
    ("css", "text/css; charset=utf-8"),
    ("json", "application/json"),
    ("svg", "image/svg+xml"),
    ("png", "image/png"),
    ("ico", "image/x-icon"),
    ("woff2", "font/woff2"),
    ("txt", "text/plain; charset=utf-8"),
];

impl Statics {
    /// Answers a request for a file.
    pub(super) fn answer(&self, method: &Method, path: &str) -> Response {
        if method != Method::GET && method != Method::HEAD {
            return (
                StatusCode::METHOD_NOT_ALLOWED,
                [("allow", "GET, HEAD")],
                "only GET and HEAD are taken here\n",
            )
                .into_response();
        }
        let Some((name, bytes)) = file_name(path).and_then(|name| Some((name, self.read(name)?)))
        else {
            return (StatusCode::NOT_FOUND, "there is no such page\n").into_response();
        };
        // `no-cache`: kept, but asked for again, so that an update shows at the next load.
        (
            [
                (CONTENT_TYPE, content_type(name)),
                (CACHE_CONTROL, "no-cache"),
            ],
            bytes,
        )
            .into_response()
    }

    fn read(&self, name: &str) -> Option<Cow<'static, [u8]>> {
        match self {
            Self::Embedded => EMBEDDED.get_file(name).map(|f| f.contents().into()),
            Self::Folder(folder) => read_inside(folder, name).map(Into::into),
        }
    }
}

/// The file that a path asks for, or `None` when it is not made of plain names: no empty, hidden or
/// dotted part, nothing percent-encoded, no separator but `/`.
fn file_name(path: &str) -> Option<&str> {
    // Pages have names without an ending.
    match path {
        "/" => return Some("index.html"),
        "/login" => return Some("login.html"),
        "/lesson" => return Some("lesson.html"),
        "/shelf" => return Some("shelf.html"),
        "/rig" => return Some("rig.html"),
        _ => {}
    }
    let allowed = |c: char| c.is_ascii_alphanumeric() || "._-".contains(c);
    let plain =
        |part: &str| !part.is_empty() && !part.starts_with('.') && part.chars().all(allowed);
    path.strip_prefix('/')
        .filter(|name| name.split('/').all(plain))
}

/// Reads a file that really lies in the folder, wherever links may point.
fn read_inside(folder: &Path, name: &str) -> Option<Vec<u8>> {
    let folder = folder.canonicalize().ok()?;
    let file = folder.join(name).canonicalize().ok()?;
    file.starts_with(&folder)
        .then(|| std::fs::read(file).ok())?
}

fn content_type(name: &str) -> &'static str {
    let end = name.rsplit('.').next().unwrap_or_default();
    TYPES
        .iter()
        .find(|(e, _)| *e == end)
        .map_or("application/octet-stream", |(_, t)| t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_names_are_files() {
        assert_eq!(file_name("/"), Some("index.html"));
        assert_eq!(file_name("/lesson"), Some("lesson.html"));
        assert_eq!(
            file_name("/vendor/a-b_c.min.js"),
            Some("vendor/a-b_c.min.js")
        );
        for bad in [
            "",
            "x",
            "//",
            "/a//b",
            "/../x",
            "/a/..",
            "/.git",
            "/a/.b",
            "/%2e%2e/x",
            "/a\\b",
            "/a\0b",
            "/ü",
            "/a/",
        ] {
            assert_eq!(file_name(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn every_embedded_file_has_a_type_of_its_own() {
        for file in EMBEDDED.files() {
            let name = file.path().to_str().unwrap();
            assert_ne!(content_type(name), "application/octet-stream", "{name}");
        }
    }
}
