//! Identities and keys as people write and print them.

use wire::identity::{DevAddr, DevEui, JoinEui};
use wire::key::AppKey;

/// An identity that is read is written with the same digits and read again; what is refused is not repeated if it may be a
/// key.
pub fn holds(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let digits: String =
        text.chars().filter(char::is_ascii_hexdigit).collect::<String>().to_ascii_uppercase();
    if let Ok(eui) = DevEui::from_display(&text) {
        assert_eq!((eui.to_string(), DevEui::from_display(&digits)), (digits.clone(), Ok(eui)));
        assert_eq!(JoinEui::from_display(&text).map(JoinEui::to_wire_bytes), Ok(eui.to_wire_bytes()));
        let mut reversed = eui.to_wire_bytes();
        reversed.reverse();
        assert_eq!(reversed, eui.to_display_bytes());
    }
    if let Ok(address) = DevAddr::from_display(&text) {
        assert_eq!(address.to_string(), digits);
    }
    match AppKey::from_hex(&text) {
        Ok(key) => {
            assert_eq!(AppKey::from_hex(&digits), Ok(key));
            assert!(AppKey::from_hex(&digits[1..]).is_err(), "a digit is missing");
        }
        Err(error) => {
            assert!(text.chars().count() < 8 || !error.to_string().contains(text.as_ref()));
        }
    }
}

/// As labels and headers write them.
pub fn seeds() -> Vec<Vec<u8>> {
    ["024C61726B00002A", "02-4c-61-72-6b-00-00-2a", "01A7C04E", "2b7e151628aed2a6abf7158809cf4f3c"]
        .map(|text| text.as_bytes().to_vec())
        .into()
}
