//! What the wearer did, and which ring it answers. The definitions stand in docs/burden.md.

use crate::domain::diary::Kind;
use crate::domain::time::Timestamp;
use crate::domain::written::Entry;
use crate::engine::effect::{Condition, Decision, Id, Side};
use crate::engine::event::Which;
use std::collections::BTreeMap;

/// Something the wearer said or noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Action {
    /// When it was done, as far as they said.
    pub at: Timestamp,
    /// What it was.
    pub act: Act,
}

/// What the wearer did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Saw an alert, or all.
    Seen(Option<Id>),
    /// Treated a high or a low.
    Treated(Option<Which>),
    /// Took insulin.
    Insulin,
    /// Ate carbohydrate.
    Carbohydrate,
    /// Measured with a meter.
    Meter,
    /// Felt symptoms.
    Symptoms,
    /// Did something about the sensor.
    Sensor,
}

impl Act {
    /// What a line of the diary says that the wearer did, where it can answer a ring.
    #[must_use]
    pub fn written(what: &Entry) -> Option<Self> {
        match what {
            Entry::Noted { kind, .. } => Self::noted(kind),
            Entry::Treated(which) => Some(Self::Treated(which.map(Which::from))),
            Entry::Seen | Entry::SeenBy(_) => Some(Self::Seen(None)),
            Entry::Meant => None,
        }
    }

    /// The same of a note.
    #[must_use]
    pub const fn noted(kind: &Kind) -> Option<Self> {
        match kind {
            Kind::Insulin(_) => Some(Self::Insulin),
            Kind::Carbohydrate(_) => Some(Self::Carbohydrate),
            Kind::Meter(_) => Some(Self::Meter),
            Kind::Symptoms => Some(Self::Symptoms),
            Kind::Sensor | Kind::SensorStart(_) | Kind::SensorStop(_) | Kind::Scan => Some(Self::Sensor),
            Kind::LongActing(_)
            | Kind::Ketones(_)
            | Kind::KetonesHigh
            | Kind::UrineKetones(_)
            | Kind::Exercise
            | Kind::Site
            | Kind::A1c(_)
            | Kind::Therapy
            | Kind::Text => None,
        }
    }
}

/// What actions mean where they name an alert by its number.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sides(BTreeMap<Id, Side>);

impl Sides {
    /// The side of each alert and re-check.
    #[must_use]
    pub fn of(decisions: &[(Timestamp, Decision)]) -> Self {
        let side = |decision: &Decision| decision.condition.side().map(|side| (decision.id, side));
        Self(decisions.iter().filter_map(|(_, decision)| side(decision)).collect())
    }

    /// Does it answer a ring of this decision?
    #[must_use]
    pub fn answers(&self, act: Act, ring: &Decision) -> bool {
        let side = ring.condition.side();
        match act {
            Act::Seen(which) => which.is_none_or(|id| ring.id == id || ring.part_of == Some(id)),
            Act::Treated(which) => side.is_some() && self.is_of(which, side),
            Act::Insulin | Act::Carbohydrate | Act::Symptoms => side.is_some(),
            Act::Meter => side.is_some() || ring.condition.row().about_sensor,
            Act::Sensor => ring.condition.row().about_sensor,
        }
    }

    /// Does it acknowledge an alert: was it seen, or treated?
    #[must_use]
    pub fn acknowledges(&self, act: Act, id: Id, condition: Condition) -> bool {
        let side = condition.side();
        match act {
            Act::Seen(which) => which.is_none_or(|seen| seen == id),
            Act::Treated(which) => side.is_some() && self.is_of(which, side),
            Act::Insulin => side == Some(Side::High),
            Act::Carbohydrate | Act::Symptoms => side == Some(Side::Low),
            Act::Meter | Act::Sensor => false,
        }
    }

    fn is_of(&self, which: Option<Which>, side: Option<Side>) -> bool {
        match which {
            None => true,
            Some(Which::Side(treated)) => side == Some(treated),
            Some(Which::Alert(id)) => self.0.get(&id).copied() == side,
        }
    }
}
