//! What the JSON holds besides of a take that was played live.

use serde::Serialize;

use super::json::{DECIMALS_MS, DECIMALS_SHARE, round, round_known};
use crate::session::result::{LadderInfo, LiveInfo};

#[derive(Serialize)]
pub(super) struct LiveOut {
    ended_by: &'static str,
    latency_ms: Option<f64>,
    worst_block_ms: Option<f64>,
    worst_block_share: Option<f64>,
    listening_share: Option<f64>,
    ladder: Vec<LadderOut>,
}

#[derive(Serialize)]
struct LadderOut {
    pass: u32,
    tempo_share: Option<f64>,
    probe: bool,
    outcome: &'static str,
    next_share: Option<f64>,
    why: String,
}

impl From<&LadderInfo> for LadderOut {
    fn from(of: &LadderInfo) -> Self {
        Self {
            pass: of.pass,
            tempo_share: round(of.tempo_share, DECIMALS_SHARE),
            probe: of.probe,
            outcome: of.outcome,
            next_share: round(of.next_share, DECIMALS_SHARE),
            why: of.why.clone(),
        }
    }
}

impl From<&LiveInfo> for LiveOut {
    fn from(live: &LiveInfo) -> Self {
        Self {
            ended_by: live.ended_by,
            latency_ms: round_known(live.latency_ms, DECIMALS_MS),
            worst_block_ms: round(live.worst_block_ms, DECIMALS_MS),
            worst_block_share: round(live.worst_block_share, DECIMALS_SHARE),
            listening_share: round(live.listening_share, DECIMALS_SHARE),
            ladder: live.ladder.iter().map(LadderOut::from).collect(),
        }
    }
}
