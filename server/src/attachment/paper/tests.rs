use lopdf::{Stream, dictionary};

use super::*;

/// A paper of so many empty pages, with document information, and what else `add` puts in.
fn paper(pages: usize, add: impl FnOnce(&mut Document)) -> Vec<u8> {
    let mut paper = Document::with_version("1.5");
    let tree = paper.new_object_id();
    let kids: Vec<Object> = (0..pages)
        .map(|_| {
            let page = dictionary! { "Type" => "Page", "Parent" => tree,
            "MediaBox" => vec![0.into(), 0.into(), 595.into(), 842.into()] };
            paper.add_object(page).into()
        })
        .collect();
    let count = i64::try_from(pages).expect("few pages");
    let root = dictionary! { "Type" => "Pages", "Kids" => kids, "Count" => count };
    paper.objects.insert(tree, root.into());
    let catalog = paper.add_object(dictionary! { "Type" => "Catalog", "Pages" => tree });
    paper.trailer.set("Root", catalog);
    let info = paper.add_object(dictionary! { "Author" => Object::string_literal("Anna") });
    paper.trailer.set("Info", info);
    add(&mut paper);
    let mut bytes = Vec::new();
    paper.save_to(&mut bytes).expect("it can be written");
    bytes
}

fn catalog(paper: &mut Document) -> &mut Dictionary {
    paper.catalog_mut().expect("a catalog")
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes
        .windows(word.len())
        .any(|found| found == word.as_bytes())
}

#[test]
fn a_plain_paper_is_stored_without_what_is_said_about_it() {
    let sent = paper(2, |paper| {
        let told = Stream::new(
            dictionary! { "Type" => "Metadata" },
            b"<x:xmpmeta by Anna/>".to_vec(),
        );
        let told = paper.add_object(told);
        catalog(paper).set("Metadata", told);
        let orphan = Stream::new(dictionary! {}, b"an earlier version by Anna".to_vec());
        paper.add_object(orphan);
    });
    assert!(holds(&sent, "Anna"));
    let tail = [&sent[..], b"\n<html><script>Anna</script>"].concat();
    for sent in [sent, tail] {
        let (stored, shape) = make(&sent).expect("a plain paper");
        assert_eq!(shape, Shape::Paper { pages: 2 });
        assert!(!holds(&stored, "Anna") && !holds(&stored, "xmp"));
        let again = Document::load_mem(&stored).expect("it can be read again");
        assert_eq!(again.get_pages().len(), 2);
        // Made ready once more it is the same, so that a paper sent twice has one hash.
        assert_eq!(make(&stored).expect("a plain paper").0, stored);
    }
}

/// The first line of a PDF file may hold anything behind the version.
#[test]
fn the_first_line_is_ours() {
    let sent = paper(1, |paper| paper.version = "1.6 <script>".to_owned());
    assert!(holds(&sent, "<script>"));
    let (stored, _) = make(&sent).expect("a plain paper");
    assert!(stored.starts_with(b"%PDF-1.7\n"));
    assert!(!holds(&stored, "<script>"));
}

/// Packed objects are read, and stored as any others.
#[test]
fn a_paper_with_packed_objects_is_taken() {
    let plain = paper(3, |_| {});
    let mut packed = Vec::new();
    Document::load_mem(&plain)
        .expect("a paper")
        .save_modern(&mut packed)
        .expect("it can be packed");
    assert!(holds(&packed, "ObjStm"));
    let (_, shape) = make(&packed).expect("a plain paper");
    assert_eq!(shape, Shape::Paper { pages: 3 });
}

#[test]
fn what_acts_is_refused_wherever_it_stands() {
    let script =
        || dictionary! { "S" => "JavaScript", "JS" => Object::string_literal("app.alert(1)") };
    let refused = |add: &dyn Fn(&mut Document), what: &'static str| {
        assert_eq!(
            make(&paper(1, |paper| add(paper))),
            Err(Fault::Holds { what })
        );
    };
    refused(
        &|paper| {
            let names = dictionary! { "JavaScript" => dictionary! {
            "Names" => vec![Object::string_literal("a"), script().into()] } };
            catalog(paper).set("Names", names);
        },
        "scripts",
    );
    refused(
        &|paper| {
            let page = paper.get_pages()[&1];
            let link = dictionary! { "Subtype" => "Link", "A" => script() };
            let page = paper.get_dictionary_mut(page).expect("a page");
            page.set("Annots", vec![link.into()]);
        },
        "scripts",
    );
    // The word as an object of its own, which the act refers to.
    refused(
        &|paper| {
            let word = paper.add_object(Object::Name(b"Launch".to_vec()));
            catalog(paper).set(
                "Any",
                dictionary! { "S" => word, "F" => Object::string_literal("x") },
            );
        },
        "an act that starts a program",
    );
    refused(
        &|paper| {
            let file = paper.add_object(Stream::new(
                dictionary! { "Type" => "EmbeddedFile" },
                vec![1],
            ));
            let spec = dictionary! { "Type" => "Filespec", "EF" => dictionary! { "F" => file } };
            catalog(paper).set("AF", vec![spec.into()]);
        },
        "files within the file",
    );
}

/// ISO 32000-1, 7.3.5: a name may be written by the codes of its letters.
#[test]
fn a_script_under_a_disguised_name_is_refused() {
    let sent = paper(1, |paper| {
        catalog(paper).set(
            "Any",
            dictionary! { "XY" => Object::string_literal("app.alert(1)") },
        );
    });
    let at = sent
        .windows(3)
        .position(|found| found == b"/XY")
        .expect("the key");
    // '/#4AS' is longer by two than '/XY' and the blank behind it; the places of objects change, so the
    // table is written anew by the library's own repair, and the file refused for that at the latest.
    let disguised = [&sent[..at], b"/#4a#53", &sent[at + 3..]].concat();
    assert!(make(&disguised).is_err());
    let parsed = Document::load_mem(&disguised).expect("a repaired paper");
    assert_eq!(parsed.objects.values().find_map(acts), Some("scripts"));
}

/// To open at a page is common and harmless: taken out, not refused. With a script it goes too, before
/// it is looked for, because nothing leads to it any more.
#[test]
fn what_happens_on_opening_is_taken_out() {
    let sent = paper(1, |paper| {
        let page = paper.get_pages()[&1];
        catalog(paper).set("OpenAction", vec![page.into(), "Fit".into()]);
    });
    let (stored, _) = make(&sent).expect("a plain paper");
    assert!(!holds(&stored, "OpenAction"));
}

#[test]
fn a_locked_paper_is_refused() {
    use lopdf::{EncryptionState, EncryptionVersion, Permissions};
    let sent = paper(1, |paper| {
        let id = Object::string_literal("0123456789abcdef");
        paper.trailer.set("ID", vec![id.clone(), id]);
        let version = EncryptionVersion::V2 {
            document: &*paper,
            owner_password: "owner",
            user_password: "",
            key_length: 128,
            permissions: Permissions::all(),
        };
        let state = EncryptionState::try_from(version).expect("a lock");
        paper.encrypt(&state).expect("it can be locked");
    });
    assert!(holds(&sent, "/Encrypt"));
    assert_eq!(make(&sent), Err(Fault::Locked));
}

#[test]
fn pages_are_counted() {
    assert!(make(&paper(50, |_| {})).is_ok());
    assert_eq!(
        make(&paper(51, |_| {})),
        Err(Fault::TooManyPages { pages: 51 })
    );
    assert_eq!(make(&paper(0, |_| {})), Err(DAMAGED));
}

/// What a reader repairs by guessing may lack pages.
#[test]
fn a_cut_paper_is_damaged() {
    let whole = paper(5, |_| {});
    for kept in [1, 2, 3, 4].map(|fifth| whole.len() * fifth / 5) {
        assert_eq!(
            make(&whole[..kept]),
            Err(DAMAGED),
            "{kept} of {}",
            whole.len()
        );
    }
}

/// Ten thousand brackets would take as many frames of the stack.
#[test]
fn deep_nesting_is_no_way_in() {
    let deep = [&b"%PDF-1.7\n1 0 obj\n"[..], &[b'['; 1_000_000]].concat();
    assert_eq!(make(&deep), Err(DAMAGED));
}

/// A scanned certificate is a photo in a PDF file, and may say where it was taken.
#[test]
fn a_photo_in_a_paper_loses_its_metadata() {
    let photo = b"\xff\xd8\xff\xe1\0\x0aExif\0Ann\xff\xda\0\x02\x01\x02\xff\xd9".to_vec();
    let sent = paper(1, |paper| {
        let pairs = dictionary! { "Subtype" => "Image", "Filter" => "DCTDecode" };
        let photo = paper.add_object(Stream::new(pairs, photo).with_compression(false));
        catalog(paper).set("Any", photo);
    });
    assert!(holds(&sent, "Exif"));
    let (stored, _) = make(&sent).expect("a plain paper");
    assert!(!holds(&stored, "Exif") && !holds(&stored, "Ann"));
    assert!(holds(&stored, "\u{1}\u{2}"));
}
