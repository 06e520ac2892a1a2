//! Numbers as sentences about practice say them.

/// A number of things: "three", "12"; words up to ten.
pub(super) fn count(number: u32) -> String {
    const WORDS: [&str; 11] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    ];
    match WORDS.get(number as usize) {
        Some(word) => (*word).to_owned(),
        None => number.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_words_up_to_ten() {
        let told: Vec<String> = [0, 1, 3, 10, 11].map(count).to_vec();
        assert_eq!(told, ["no", "one", "three", "ten", "11"]);
    }
}
