//! Signed messages, so that whoever takes them knows who sent them.
//!
//! # References
//! RFC 9421, HTTP Message Signatures: section 2.5 (signature base), 3.3.3 (hmac-sha256); RFC 9530, Digest Fields.

use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::{Digest as _, Sha256};

use crate::base64;

/// The fields of a message that bear its signature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signed {
    /// Of `Content-Digest`.
    pub content_digest: String,
    /// Of `Signature-Input`.
    pub signature_input: String,
    /// Of `Signature`.
    pub signature: String,
}

/// Signs a body that is posted to an address, at a time since 1970 \[s\].
pub fn signed(key: &[u8], key_name: &str, uri: &str, body: &[u8], created_s: i64) -> Signed {
    let content_digest = format!("sha-256=:{}:", octets(&Sha256::digest(body)));
    let quoted = key_name.replace(['"', '\\'], "-");
    let parameters = format!(
        "(\"@method\" \"@target-uri\" \"content-digest\");created={created_s};keyid=\"{quoted}\";alg=\"hmac-sha256\""
    );
    let fields = [("@method", "POST"), ("@target-uri", uri), ("content-digest", &content_digest)];
    let signature = format!("alarm=:{}:", octets(&mac(key, &base(&fields, &parameters))));
    Signed { signature_input: format!("alarm={parameters}"), content_digest, signature }
}

/// Octets as structured fields write them: base64 with padding (RFC 9651, section 3.3.5).
fn octets(octets: &[u8]) -> String {
    let text = base64::encode(octets);
    let padding = text.len().next_multiple_of(4) - text.len();
    text + &"=".repeat(padding)
}

/// What is signed: a line for each field, and the parameters.
fn base(fields: &[(&str, &str)], parameters: &str) -> String {
    let lines = fields.iter().map(|(name, value)| format!("\"{name}\": {value}\n"));
    lines.collect::<String>() + &format!("\"@signature-params\": {parameters}")
}

fn mac(key: &[u8], base: &str) -> [u8; 32] {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes a key of any length");
    mac.update(base.as_bytes());
    mac.finalize().into_bytes().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9421, appendix B.2.5: symmetric signature of date, authority and content type with the shared secret.
    #[test]
    fn the_example_of_the_standard_is_signed_as_it_is_there() {
        let key = base64::decode(
            "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==",
        );
        let fields = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let parameters =
            "(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\"";
        let signature = mac(&key.expect("base64"), &base(&fields, parameters));
        assert_eq!(octets(&signature), "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=");
    }

    /// RFC 9530, appendix D, the digest of `{\"hello\": \"world\"}` with its line end.
    #[test]
    fn a_message_names_digest_key_and_time() {
        let body = b"{\"hello\": \"world\"}\n";
        let signed = signed(b"secret", "desk", "https://desk.example/in", body, 1_618_884_473);
        assert_eq!(signed.content_digest, "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
        assert!(signed.signature_input.ends_with(";created=1618884473;keyid=\"desk\";alg=\"hmac-sha256\""));
        let other = super::signed(b"secret", "desk", "https://desk.example/in", b"{}", 1_618_884_473);
        assert_ne!(signed.signature, other.signature);
    }
}
