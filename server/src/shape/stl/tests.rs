use proptest::prelude::*;

use super::*;

/// A tetrahedron of 10 along each axis.
const TETRAHEDRON: [[[f32; 3]; 3]; 4] = {
    let (o, x, y, z) = (
        [0.0; 3],
        [10.0, 0.0, 0.0],
        [0.0, 10.0, 0.0],
        [0.0, 0.0, 10.0],
    );
    [[o, y, x], [o, x, z], [o, z, y], [x, y, z]]
};

fn as_text(name: &str) -> String {
    let mut text = format!("solid {name}\n");
    for triangle in TETRAHEDRON {
        text += "  facet normal 0 0 0\n    outer loop\n";
        for [x, y, z] in triangle {
            text += &format!("      vertex {x:e} {y:.3} {z}\n");
        }
        text += "    endloop\n  endfacet\n";
    }
    text + &format!("endsolid {name}\n")
}

fn as_binary(head: &[u8]) -> Vec<u8> {
    let mut bytes = head.to_vec();
    bytes.resize(HEAD, b' ');
    bytes.extend(4u32.to_le_bytes());
    for triangle in TETRAHEDRON {
        bytes.extend([0; 12]);
        bytes.extend(triangle.iter().flatten().flat_map(|x| x.to_le_bytes()));
        bytes.extend([0xff, 0x7f]);
    }
    bytes
}

fn volume(bytes: Vec<u8>, unit: Unit) -> f64 {
    let triangles = read(bytes, unit).expect("it is read");
    let mesh = Mesh::new(&triangles).expect("a mesh");
    mesh.volume_mm3().expect("closed")
}

/// A sixth of 10 x 10 x 10, in the unit that was said, however it is written.
#[test]
fn text_and_binary_are_told_by_content() {
    let in_capitals = as_text("HEAD").to_uppercase();
    let nameless = as_text("").replace("solid \n", "solid\n");
    let on_dos = as_text("a b").replace('\n', "\r\n");
    for bytes in [
        as_text("part of facets").into_bytes(),
        in_capitals.into_bytes(),
        nameless.into_bytes(),
        on_dos.into_bytes(),
        as_binary(b"made somewhere"),
        as_binary(b"solid with facet in its head"),
    ] {
        assert!((volume(bytes, Unit::Millimetre) - 1000.0 / 6.0).abs() < 1e-9);
    }
    let inch = volume(as_binary(b""), Unit::Inch);
    assert!((inch / (254f64.powi(3) / 6.0) - 1.0).abs() < 1e-6, "{inch}");
}

/// Two solids in one file are one shape: a name that is not in the alphabet of the file is no matter.
#[test]
fn several_solids_are_read_as_one() {
    let mut two = as_text("one").into_bytes();
    two.extend(b"solid \xff\xfe\n");
    two.extend(
        as_text("two")
            .lines()
            .skip(1)
            .flat_map(|line| [line.as_bytes(), b"\n"].concat()),
    );
    assert_eq!(read(two, Unit::Millimetre).expect("read").len(), 8);
}

#[test]
fn what_is_no_whole_file_is_told() {
    let fault = |bytes: &[u8]| read(bytes.to_vec(), Unit::Millimetre).expect_err("refused");
    assert_eq!(fault(b""), Fault::Empty);
    assert_eq!(fault(b"\xff\xd8\xff\xe0 a photo"), Fault::NotStl);
    assert_eq!(fault(b"solid ground is what we stand on"), Fault::NotStl);
    assert_eq!(
        fault(&vec![0; FILE_LIMIT + 1]),
        Fault::TooLarge {
            size: FILE_LIMIT + 1
        }
    );
    let whole = as_binary(b"");
    assert_eq!(fault(&whole[..whole.len() - 1]), Fault::NotStl);
    let text = as_text("cut");
    let cut = text.find("endsolid").expect("its end");
    assert_eq!(
        fault(&text.as_bytes()[..cut]),
        Fault::Damaged { triangles: 4 }
    );
    assert_eq!(
        fault(&text.as_bytes()[..cut - 30]),
        Fault::Damaged { triangles: 3 }
    );
    let nan = text.replace("1e1", "nan");
    assert_eq!(fault(nan.as_bytes()), Fault::Damaged { triangles: 0 });
}

/// A head that counts four thousand million triangles is refused by the file's length; one whose length
/// agrees by the limit.
#[test]
fn counts_in_the_head_are_not_believed() {
    let mut bytes = as_binary(b"");
    bytes[HEAD..COUNT_END].copy_from_slice(&u32::MAX.to_le_bytes());
    assert_eq!(read(bytes, Unit::Millimetre), Err(Fault::NotStl));
    let count = TRIANGLES_MAX + 1;
    let mut many = vec![0; COUNT_END + count * EACH];
    let said = u32::try_from(count).expect("small");
    many[HEAD..COUNT_END].copy_from_slice(&said.to_le_bytes());
    assert_eq!(
        read(many, Unit::Millimetre),
        Err(ShapeError::TooMany { count }.into())
    );
}

/// What is written is read as it was, byte for byte, and carries nothing of the file it came from.
#[test]
fn written_anew_nothing_but_triangles_is_left() {
    let mesh = |bytes| Mesh::new(&read(bytes, Unit::Millimetre).expect("read")).expect("a mesh");
    let written = write(&mesh(as_binary(b"solid <script>hidden</script>"))).expect("written");
    assert_eq!(written.len(), COUNT_END + 4 * EACH);
    assert!(written[..HEAD].iter().all(|byte| *byte == 0));
    assert!(
        !written.windows(2).any(|pair| pair == [0xff, 0x7f]),
        "attributes are gone"
    );
    assert_eq!(write(&mesh(written.clone())).expect("written"), written);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Random bytes, behind beginnings that look like a file or not: read or refused, never a panic.
    #[test]
    fn any_bytes_are_read_or_refused(
        kind in 0..4usize,
        mut bytes in prop::collection::vec(any::<u8>(), 0..2000),
        at in 0..2000usize,
    ) {
        let bytes = match kind {
            0 => bytes,
            1 => [b"solid x\n facet ".as_slice(), &bytes].concat(),
            2 => {
                // As long as its count says.
                bytes.resize(COUNT_END + bytes.len() / EACH * EACH, 0);
                let count = u32::try_from((bytes.len() - COUNT_END) / EACH).expect("few");
                bytes[HEAD..COUNT_END].copy_from_slice(&count.to_le_bytes());
                bytes
            }
            _ => {
                let mut text = as_text("x").into_bytes();
                let at = at % text.len();
                text.splice(at..at, bytes.iter().copied().take(3));
                text
            }
        };
        if let Ok(triangles) = read(bytes, Unit::Millimetre)
            && let Ok(mesh) = Mesh::new(&triangles) {
                prop_assert!(write(&mesh).is_ok());
        }
    }
}
