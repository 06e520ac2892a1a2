//! The newest stretch of a stream, addressed by absolute place and readable as one slice.
//!
//! A container and no method: there is no paper to name.

/// Keeps at least the newest `keep` samples of a stream in one contiguous piece.
///
/// Memory: twice `keep`, allocated once.
#[derive(Clone, Debug)]
pub struct History {
    data: Vec<f32>,
    /// Place in the stream of `data[0]`.
    first: i64,
    keep: usize,
}

impl History {
    /// An empty history whose next sample is number 0.
    pub fn new(keep: usize) -> Self {
        Self {
            data: Vec::with_capacity(2 * keep.max(1)),
            first: 0,
            keep: keep.max(1),
        }
    }

    /// Appends one sample.
    pub fn push(&mut self, sample: f32) {
        if self.data.len() == 2 * self.keep {
            self.data.copy_within(self.keep.., 0);
            self.data.truncate(self.keep);
            self.first += self.keep as i64;
        }
        self.data.push(sample);
    }

    /// Appends samples in their order.
    pub fn extend(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let room = 2 * self.keep - self.data.len();
            if room == 0 {
                self.data.copy_within(self.keep.., 0);
                self.data.truncate(self.keep);
                self.first += self.keep as i64;
                continue;
            }
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.data.extend_from_slice(now);
            rest = later;
        }
    }

    /// Place of the sample that will be pushed next.
    pub fn end(&self) -> i64 {
        self.first + self.data.len() as i64
    }

    /// Oldest place that can still be read.
    pub fn start(&self) -> i64 {
        self.first
    }

    /// The samples from `from` up to but not including `to`, cut to what is kept.
    pub fn range(&self, from: i64, to: i64) -> &[f32] {
        let a = (from - self.first).clamp(0, self.data.len() as i64) as usize;
        let b = (to - self.first).clamp(a as i64, self.data.len() as i64) as usize;
        &self.data[a..b]
    }

    /// The sample at `at`, 0 outside what is kept.
    pub fn at(&self, at: i64) -> f32 {
        usize::try_from(at - self.first)
            .ok()
            .and_then(|i| self.data.get(i))
            .copied()
            .unwrap_or(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_the_newest_and_its_numbering() {
        let mut h = History::new(10);
        for i in 0..95 {
            h.push(i as f32);
        }
        assert_eq!(h.end(), 95);
        assert!(h.end() - h.start() >= 10);
        assert_eq!(
            h.range(85, 95),
            (85..95).map(|i| i as f32).collect::<Vec<_>>()
        );
        assert_eq!(h.range(94, 200), [94.0]);
        assert!(h.range(-5, 0).is_empty());
        assert_eq!(h.at(90), 90.0);
        assert_eq!(h.at(95), 0.0);
    }

    #[test]
    fn takes_many_at_a_time_as_one_by_one() {
        let x: Vec<f32> = (0..137).map(|i| i as f32).collect();
        for cut in [1usize, 3, 10, 19, 20, 21, 64] {
            let (mut one, mut many) = (History::new(10), History::new(10));
            for block in x.chunks(cut) {
                block.iter().for_each(|s| one.push(*s));
                many.extend(block);
                assert_eq!(one.end(), many.end());
                assert_eq!(one.start(), many.start());
                let all = (one.start(), one.end());
                assert_eq!(one.range(all.0, all.1), many.range(all.0, all.1));
            }
        }
    }
}
