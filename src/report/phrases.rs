//! Numbers as reports say them.

/// How often: "once", "four times", "12 times".
pub(super) fn times(count: usize) -> String {
    const WORDS: [&str; 8] = [
        "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    ];
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        _ => match count.checked_sub(3).and_then(|at| WORDS.get(at)) {
            Some(word) => format!("{word} times"),
            None => format!("{count} times"),
        },
    }
}

/// A figure with one decimal, without `.0`.
pub(super) fn one_decimal(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
