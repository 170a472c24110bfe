use proptest::prelude::*;

use super::*;

#[test]
fn a_hash_is_read_as_it_is_written_and_not_otherwise() {
    let hash = AttachmentHash::of(b"abc");
    // FIPS 180-4, the example 'abc'.
    let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(hash.to_string(), text);
    assert_eq!(AttachmentHash::read(text), Some(hash));
    for other in ["", &text[1..], &text.to_uppercase(), &"é".repeat(32)] {
        assert_eq!(AttachmentHash::read(other), None, "{other}");
    }
}

#[test]
fn what_is_not_taken_is_said_by_its_content() {
    for (bytes, found) in [
        (&b"GIF89a..."[..], "a GIF picture"),
        (
            b"\0\0\0\x18ftypheic",
            "a HEIC picture (set the telephone's camera to its most compatible format)",
        ),
        (b"\0\0\0\x18ftypmp42", "a film"),
        (b"PK\x03\x04....", "a packed or office file"),
        (b"\x7fELF....", "a program"),
        (
            b"<?xml version='1.0'?><svg onload='x()'/>",
            "an SVG drawing",
        ),
        (b" <!DOCTYPE html><script>x()</script>", "a web page"),
        (b"pressure 31 bar", "a text"),
        (b"\x01\x02\x03", "of a kind that is not known here"),
        // Not behind other text: a file that is one thing to us and another to a browser.
        (b"<html>%PDF-1.4", "a web page"),
    ] {
        assert_eq!(make(bytes), Err(Fault::NotTaken { found }));
    }
    assert_eq!(make(b""), Err(Fault::Empty));
}

/// 11 010 048 bytes are 10.5 MiB.
#[test]
fn a_file_over_its_limit_is_refused_unread() {
    let fault = make(&vec![0; FILE_LIMIT + 512 * 1024]).expect_err("too large");
    assert_eq!(
        fault.to_string(),
        "is 10.5 MiB; one file may have at most 10 MiB"
    );
}

/// What a decoder must not do on any bytes is fail by panic, and none of these is a picture or a paper.
fn assert_refused(bytes: &[u8]) -> Result<(), TestCaseError> {
    prop_assert!(make(bytes).is_err());
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..4096)) {
        assert_refused(&bytes)?;
    }

    #[test]
    fn random_bytes_behind_a_true_start_are_refused(
        start in prop::sample::select(vec![
            &b"\xff\xd8\xff\xe0\0\x10JFIF\0"[..],
            b"\xff\xd8\xff\xc0\0\x11\x08\0\x10\0\x10\x03\x01\x11\0\x02\x11\x01\x03\x11\x01",
            b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
            b"RIFF\x20\0\0\0WEBPVP8 ",
            b"RIFF\x20\0\0\0WEBPVP8L",
            b"%PDF-1.7\n1 0 obj\n<<",
        ]),
        bytes in prop::collection::vec(any::<u8>(), 0..2048),
    ) {
        assert_refused(&[start, &bytes].concat())?;
    }
}
