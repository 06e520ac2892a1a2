//! What the JSON holds besides of a take that was played live.

use serde::Serialize;

use super::json::{DECIMALS_BPM, DECIMALS_MS, DECIMALS_S, DECIMALS_SHARE, round, round_known};
use crate::session::live::snapshot::PassView;
use crate::session::result::LiveInfo;

#[derive(Serialize)]
pub(super) struct LiveOut {
    ended_by: &'static str,
    latency_ms: Option<f64>,
    worst_block_ms: Option<f64>,
    worst_block_share: Option<f64>,
    listening_share: Option<f64>,
    passes: Vec<PassOut>,
}

#[derive(Serialize)]
struct PassOut {
    number: u32,
    from_s: Option<f64>,
    to_s: Option<f64>,
    bars: [u32; 2],
    tempo_bpm: Option<f64>,
    notes: usize,
    right: usize,
    wrong: usize,
    missed: usize,
    extra: usize,
    gaps: usize,
    out_of_time: usize,
    bleed: usize,
    spread_ms: Option<f64>,
    recognised: bool,
}

impl From<&LiveInfo> for LiveOut {
    fn from(live: &LiveInfo) -> Self {
        let pass = |(view, from_s, to_s): &(PassView, f64, f64)| PassOut {
            number: view.number,
            from_s: round(*from_s, DECIMALS_S),
            to_s: round(*to_s, DECIMALS_S),
            bars: [view.bars.0, view.bars.1],
            tempo_bpm: round(view.tempo_bpm, DECIMALS_BPM),
            notes: view.notes,
            right: view.right,
            wrong: view.wrong,
            missed: view.missed,
            extra: view.extra,
            gaps: view.gaps,
            out_of_time: view.out_of_time,
            bleed: view.bleed,
            spread_ms: round_known(view.spread_ms, DECIMALS_MS),
            recognised: view.recognised,
        };
        Self {
            ended_by: live.ended_by,
            latency_ms: round_known(live.latency_ms, DECIMALS_MS),
            worst_block_ms: round(live.worst_block_ms, DECIMALS_MS),
            worst_block_share: round(live.worst_block_share, DECIMALS_SHARE),
            listening_share: round(live.listening_share, DECIMALS_SHARE),
            passes: live.passes.iter().map(pass).collect(),
        }
    }
}
