//! The boxes of an MP4 file, looked at where they lie.
//!
//! # Source
//! ISO/IEC 14496-12, section 4.2.

/// A box's name.
pub(super) type Name = [u8; 4];

/// The boxes that lie one after the other in `bytes`: name and body. It ends where they do, or at
/// the first whose length leads beyond.
pub(super) fn boxes(mut bytes: &[u8]) -> impl Iterator<Item = (Name, &[u8])> {
    std::iter::from_fn(move || {
        let (name, head, length) = box_head(bytes)?;
        let length = match length {
            None => bytes.len(),
            Some(length) => usize::try_from(length).ok()?,
        };
        let body = bytes.get(head..length)?;
        bytes = &bytes[length..];
        Some((name, body))
    })
}

/// Name, bytes of the head, and the whole length of the box that begins here; `None` for a length
/// that goes on to the end of the file.
pub(super) fn box_head(bytes: &[u8]) -> Option<(Name, usize, Option<u64>)> {
    let name = bytes.get(4..8)?.try_into().ok()?;
    match u32_at(bytes, 0)? {
        0 => Some((name, 8, None)),
        1 => {
            let length = u64_at(bytes, 8)?;
            (length >= 16).then_some((name, 16, Some(length)))
        }
        length => (length >= 8).then_some((name, 8, Some(u64::from(length)))),
    }
}

/// The first box with this name in `bytes`.
pub(super) fn find<'a>(bytes: &'a [u8], name: &Name) -> Option<&'a [u8]> {
    boxes(bytes).find(|(n, _)| n == name).map(|(_, body)| body)
}

/// The box at the end of a path of names.
pub(super) fn find_path<'a>(bytes: &'a [u8], path: &[&Name]) -> Option<&'a [u8]> {
    path.iter()
        .try_fold(bytes, |inside, name| find(inside, name))
}

/// A big-endian number of two bytes.
pub(super) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let digits = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes(digits.try_into().ok()?))
}

/// A big-endian number of four bytes.
pub(super) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let digits = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(digits.try_into().ok()?))
}

/// A big-endian number of eight bytes.
pub(super) fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    let digits = bytes.get(at..at.checked_add(8)?)?;
    Some(u64::from_be_bytes(digits.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_end_where_their_lengths_lie() {
        let mut bytes = b"\0\0\0\x0aaaaaxx\0\0\0\x01bbbb\0\0\0\0\0\0\0\x11y".to_vec();
        let read = |bytes: &[u8]| -> Vec<(Name, Vec<u8>)> {
            boxes(bytes).map(|(n, b)| (n, b.to_vec())).collect()
        };
        let two = vec![(*b"aaaa", b"xx".to_vec()), (*b"bbbb", b"y".to_vec())];
        assert_eq!(read(&bytes), two);
        bytes.extend(b"\0\0\0\x00cccczz");
        assert_eq!(read(&bytes).last(), Some(&(*b"cccc", b"zz".to_vec())));
        for wrong in [
            &b"\0\0\0\x07aaaa"[..],
            b"\0\0\0\x09aaaa",
            b"\0\0\0\x01aaaa\0\0\0\0",
        ] {
            assert_eq!(read(wrong), [], "{wrong:?}");
        }
        assert_eq!(find_path(&bytes, &[b"bbbb"]), Some(&b"y"[..]));
        assert_eq!(find_path(&bytes, &[b"dddd", b"bbbb"]), None);
    }
}
