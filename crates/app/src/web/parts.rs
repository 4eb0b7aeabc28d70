//! Forms as browsers send them: their fields, and a file where one was chosen.

use std::collections::BTreeMap;

use axum::body::Bytes;
use axum::extract::{FromRequest as _, Request};
use axum::http::{StatusCode, header};
use axum::response::Response;

use super::problem::plain;

/// What a form sent.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Sent {
    /// Its fields by name.
    pub(super) fields: BTreeMap<String, String>,
    /// The bytes of the file that was chosen.
    pub(super) file: Option<Vec<u8>>,
}

impl Sent {
    /// A field; empty where it was not sent.
    pub(super) fn field(&self, key: &str) -> &str {
        self.fields.get(key).map_or("", String::as_str)
    }

    /// Reads the body of a request, or says why not.
    pub(super) async fn read(request: Request) -> Result<Self, Box<Response>> {
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
        let Some(boundary) = kind.and_then(boundary).map(str::to_owned) else {
            let form = axum::extract::Form::<BTreeMap<String, String>>::from_request(request, &()).await;
            let form = form.map_err(|refused| Box::new(plain(refused.status(), &refused.body_text())))?;
            return Ok(Self { fields: form.0, file: None });
        };
        let body = Bytes::from_request(request, &()).await;
        let body = body.map_err(|refused| Box::new(plain(refused.status(), &refused.body_text())))?;
        let broken =
            || Box::new(plain(StatusCode::BAD_REQUEST, "the form did not come whole: send it again"));
        Self::of(&body, &boundary).ok_or_else(broken)
    }

    /// The parts between lines of a boundary; `None` if they are not whole.
    ///
    /// # References
    /// RFC 7578, section 4; RFC 2046, section 5.1.1.
    fn of(body: &[u8], boundary: &str) -> Option<Self> {
        let (first, line) = (format!("--{boundary}"), format!("\r\n--{boundary}"));
        let mut rest = body.strip_prefix(first.as_bytes())?;
        let mut sent = Self::default();
        while !rest.starts_with(b"--") {
            let part = rest.strip_prefix(b"\r\n")?;
            let (part, after) = split(part, line.as_bytes())?;
            let (head, content) = split(part, b"\r\n\r\n")?;
            sent.take(std::str::from_utf8(head).ok()?, content)?;
            rest = after;
        }
        Some(sent)
    }

    fn take(&mut self, head: &str, content: &[u8]) -> Option<()> {
        let says = |line: &&str| line.to_ascii_lowercase().starts_with("content-disposition:");
        let disposition = head.split("\r\n").find(says)?;
        let parameter = |key: &str| disposition.split_once(&format!("; {key}=\""))?.1.split('"').next();
        if parameter("filename").is_some() {
            // A browser sends an empty file where none was chosen.
            self.file = (!content.is_empty()).then(|| content.to_vec());
        } else {
            let text = String::from_utf8(content.to_vec()).ok()?;
            self.fields.insert(parameter("name")?.to_owned(), text);
        }
        Some(())
    }
}

/// The boundary that a media type names.
fn boundary(kind: &str) -> Option<&str> {
    let parameters = kind.strip_prefix("multipart/form-data;")?;
    let named = parameters.split(';').find_map(|one| one.trim().strip_prefix("boundary="))?;
    Some(named.trim_matches('"')).filter(|named| (1..=70).contains(&named.len()))
}

/// What stands before the first of a mark, and after it.
fn split<'a>(bytes: &'a [u8], mark: &[u8]) -> Option<(&'a [u8], &'a [u8])> {
    let at = bytes.windows(mark.len()).position(|window| window == mark)?;
    Some((bytes.get(..at)?, bytes.get(at + mark.len()..)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BODY: &[u8] = b"--x\r\nContent-Disposition: form-data; name=\"what\"\r\n\r\ncleaned\r\n-- the panel\r\n--x\r\n\
        content-disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\nContent-Type: image/jpeg\r\n\r\n\xff\xd8\r\n\r\n\x00\r\n--x--\r\n";

    /// By RFC 7578, 4.2 and 4.3: fields are text, a file is its bytes, also where these hold lines.
    #[test]
    fn fields_and_a_file_are_read_whole() {
        assert_eq!(boundary("multipart/form-data; boundary=x"), Some("x"));
        assert_eq!(boundary("multipart/form-data; charset=utf-8; boundary=\"a b\""), Some("a b"));
        assert_eq!(boundary("application/x-www-form-urlencoded"), None);
        let sent = Sent::of(BODY, "x").expect("it is whole");
        assert_eq!(sent.fields["what"], "cleaned\r\n-- the panel");
        assert_eq!(sent.file.as_deref(), Some(&b"\xff\xd8\r\n\r\n\x00"[..]));
        assert_eq!(Sent::of(b"--x--\r\n", "x"), Some(Sent::default()));
    }

    #[test]
    fn what_was_cut_off_anywhere_is_not_taken() {
        let whole = BODY.len() - b"--\r\n".len();
        for length in 0..whole {
            assert_eq!(Sent::of(&BODY[..length], "x"), None, "{length}");
        }
    }
}
