//! How pages and drawings look: style sheet and typefaces, packed in so that they need no network.

/// What makes the classes of pages and charts visible.
pub const STYLE: &str = include_str!("look/page.css");

/// What the pages of a served site add to it.
pub const SERVED: &str = include_str!("look/served.css");

/// Family, weight and the Latin subset as WOFF2.
pub type Face = (&'static str, u16, &'static [u8]);

const HEADINGS: Face = ("Literata", 600, include_bytes!("../fonts/literata-latin-600-normal.woff2"));
const FIGURES: Face = ("Source Sans 3", 400, include_bytes!("../fonts/source-sans-3-latin-400-normal.woff2"));
const STRONG: Face = ("Source Sans 3", 600, include_bytes!("../fonts/source-sans-3-latin-600-normal.woff2"));

/// The typefaces of pages and drawings.
pub const FACES: [Face; 3] = [HEADINGS, FIGURES, STRONG];

/// The typefaces of pages as files, each with its name.
pub fn face_files() -> impl Iterator<Item = (String, &'static [u8])> {
    FACES.iter().map(|face| (file_name(face), face.2))
}

fn file_name((family, weight, _): &Face) -> String {
    format!("{}-{weight}.woff2", family.to_lowercase().replace(' ', "-"))
}

/// The rules that declare typefaces as files beside the style sheet.
pub fn linked_faces() -> String {
    let face = |face: &Face| {
        let (family, weight, _) = face;
        format!(
            "@font-face{{font-family:\"{family}\";font-weight:{weight};font-display:swap;\
             src:url({}) format(\"woff2\")}}\n",
            file_name(face)
        )
    };
    FACES.iter().map(face).collect()
}

/// The rules that declare typefaces, packed in.
pub fn faces(faces: &[Face]) -> String {
    let face = |(family, weight, bytes): &Face| {
        let data = base64(bytes);
        format!(
            "@font-face{{font-family:\"{family}\";font-weight:{weight};\
             src:url(data:font/woff2;base64,{data}) format(\"woff2\")}}\n"
        )
    };
    faces.iter().map(face).collect()
}

/// RFC 4648, section 4.
pub fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let bits =
            group.iter().fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte)) << (8 * (3 - group.len()));
        for place in 0..4 {
            let index = bits >> (18 - 6 * place) & 63;
            let letter = ALPHABET.get(index as usize).copied().unwrap_or(b'=');
            text.push(if place > group.len() { '=' } else { char::from(letter) });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        let vectors = ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"];
        for (length, coded) in vectors.iter().enumerate() {
            assert_eq!(base64(&b"foobar"[..length]), *coded);
        }
    }
}
