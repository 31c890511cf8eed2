//! Which checks concern takes that are not compared: a room tone is quiet and has no events, and a bleed take is low.

use super::limits::{LEVEL_LOW, SNR_UNKNOWN, TOO_FEW_EVENTS, WRONG_CHANNEL};
use crate::{CheckResult, Role, Take};

/// Takes the checks away that do not concern a take of its role.
pub(crate) fn keep_what_concerns(checks: &mut Vec<CheckResult>, takes: &[Take]) {
    checks.retain(|c| {
        let role = takes.iter().find(|t| c.take.as_deref() == Some(t.id.as_str())).map(|t| t.role);
        !match role {
            Some(Role::RoomTone) => {
                [LEVEL_LOW.code, TOO_FEW_EVENTS.code, SNR_UNKNOWN.code, WRONG_CHANNEL.code]
                    .contains(&c.code.as_str())
            }
            Some(Role::Bleed) => [LEVEL_LOW.code, WRONG_CHANNEL.code].contains(&c.code.as_str()),
            _ => false,
        }
    });
}
