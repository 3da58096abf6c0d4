//! What a page may do when it is opened: show itself. Nothing is fetched, nothing sent, and only
//! its own script runs.

use sha2::{Digest, Sha256};

/// The content security policy of a page with this script, or with none.
pub(crate) fn policy(script: Option<&str>) -> String {
    let script =
        script.map_or("'none'".to_string(), |s| format!("'sha256-{}'", base64(&Sha256::digest(s))));
    format!(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src {script}; base-uri 'none'; form-action 'none'"
    )
}

/// RFC 4648, section 4.
pub(super) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for three in bytes.chunks(3) {
        let byte = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let all = byte(0) << 16 | byte(1) << 8 | byte(2);
        for k in 0..4 {
            let digit = DIGITS[(all >> (18 - 6 * k) & 63) as usize];
            out.push(if k > three.len() { '=' } else { char::from(digit) });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The vectors of RFC 4648, section 10, and the hash of the empty text by FIPS 180-4.
    #[test]
    fn hashes_are_written_as_browsers_read_them() {
        let written =
            ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|t| base64(t.as_bytes()));
        assert_eq!(written, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
        assert!(policy(Some("")).contains("'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"));
    }
}
