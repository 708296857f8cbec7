//! Glucose and insulin in one body: the model of Hovorka and others 2004 (Physiological Measurement 25:905), its
//! fourteen quantities moved on minute by minute. Knows nobody who lives in the body.
//!
//! Equations, parameters, their sources, and what the model is not: docs/wearer.md. Concentrations are in mmol/L
//! and mU/L, amounts in mmol and mU, time in minutes.

/// Grams of glucose in a mmol: 180.156 g/mol (LOINC group LG7967-5).
pub const GRAMS_PER_MMOL: f64 = 0.180_156;

/// Below this, uptake that needs no insulin falls with glucose, mmol/L.
const BRAIN_FULL_MMOL_L: f64 = 4.5;

/// Above this, glucose is lost in urine, mmol/L, by this share of what is above it in a minute.
const RENAL_MMOL_L: f64 = 9.0;
const RENAL_PER_MIN: f64 = 0.003;

/// One way in which insulin acts: how fast it follows plasma insulin, and how strong it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Action {
    /// Rate at which it follows, a minute (ka1, ka2, ka3).
    pub rate_per_min: f64,
    /// Its strength for each mU/L of plasma insulin (SIT, SID in 1/min; SIE without a unit).
    pub strength: f64,
}

/// What makes a body this body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameters {
    /// Body weight, kg.
    pub weight_kg: f64,
    /// From the remote to the accessible compartment, 1/min (k12).
    pub return_per_min: f64,
    /// Insulin moves glucose out of the accessible compartment.
    pub transport: Action,
    /// Insulin disposes of glucose in the remote compartment.
    pub disposal: Action,
    /// Insulin holds the liver back.
    pub production: Action,
    /// Plasma insulin is cleared, 1/min (ke).
    pub clearance_per_min: f64,
    /// Volume of plasma insulin, L/kg (VI).
    pub insulin_volume_l_kg: f64,
    /// Volume of accessible glucose, L/kg (VG).
    pub glucose_volume_l_kg: f64,
    /// Rapid insulin is absorbed fastest after this, min (tmaxI).
    pub insulin_peak_min: f64,
    /// A meal is absorbed fastest after this, min (tmaxG).
    pub meal_peak_min: f64,
    /// Share of carbohydrate that appears (AG).
    pub meal_share: f64,
    /// What the liver gives without insulin, mmol/kg/min (EGP0).
    pub liver_mmol_kg_min: f64,
    /// Uptake that needs no insulin, mmol/kg/min (F01).
    pub brain_mmol_kg_min: f64,
    /// By how much the liver answers a low: its share of EGP0 at a glucose of zero. None in the published model, and
    /// ours: see docs/wearer.md.
    pub defence: f64,
}

impl Parameters {
    /// The published values for a weight. k12, ka1, ka2 and ka3 were read in a table (PMC7449052, table 3); the others
    /// are from memory of the paper of 2004, and docs/wearer.md says which.
    #[must_use]
    pub const fn published(weight_kg: f64) -> Self {
        Self {
            weight_kg,
            return_per_min: 0.066,
            transport: Action { rate_per_min: 0.006, strength: 51.2e-4 },
            disposal: Action { rate_per_min: 0.06, strength: 8.2e-4 },
            production: Action { rate_per_min: 0.03, strength: 520e-4 },
            clearance_per_min: 0.138,
            insulin_volume_l_kg: 0.12,
            glucose_volume_l_kg: 0.16,
            insulin_peak_min: 55.0,
            meal_peak_min: 40.0,
            meal_share: 0.8,
            liver_mmol_kg_min: 0.0161,
            brain_mmol_kg_min: 0.0097,
            defence: 0.0,
        }
    }
}

/// How carbohydrate is absorbed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// Sugar taken for a low.
    Fast,
    /// A meal, as published.
    Meal,
    /// A meal with much fat or fibre.
    Slow,
}

impl Pace {
    /// When absorption is fastest, as a share of that of a meal. A meal model is too slow for sugar: 5.5 % in a
    /// quarter of an hour. A quarter of its time gives 44 %; that, and the slow meal, are ours.
    const fn share_of_meal_peak(self) -> f64 {
        match self {
            Self::Fast => 0.25,
            Self::Meal => 1.0,
            Self::Slow => 1.75,
        }
    }

    /// All of them.
    pub const ALL: [Self; 3] = [Self::Fast, Self::Meal, Self::Slow];
}

/// What differs from hour to hour, as factors of what is usual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hour {
    /// Of the strength of insulin, on all three ways.
    pub sensitivity: f64,
    /// Of what the liver gives.
    pub liver: f64,
}

impl Hour {
    /// Nothing differs.
    pub const USUAL: Self = Self { sensitivity: 1.0, liver: 1.0 };
}

/// What moves glucose at this moment, mmol/min.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flows {
    /// From the gut.
    pub gut: f64,
    /// From the liver.
    pub liver: f64,
    /// Taken up without insulin.
    pub brain: f64,
    /// Lost in urine.
    pub urine: f64,
    /// Disposed of by insulin.
    pub disposed: f64,
    /// Insulin from under the skin into plasma, mU/min.
    pub insulin: f64,
    /// Insulin cleared from plasma, mU/min.
    pub cleared: f64,
}

/// What is in a body at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Amounts {
    /// Under the skin, mU, in two compartments (S1, S2).
    skin: [f64; 2],
    /// In plasma, mU/L (I).
    plasma: f64,
    /// The three ways of acting (x1, x2, x3).
    acting: [f64; 3],
    /// Glucose, mmol, accessible and remote (Q1, Q2).
    glucose: [f64; 2],
    /// Carbohydrate in the gut that will appear, mmol, in two compartments for each pace.
    gut: [[f64; 2]; 3],
}

impl Amounts {
    /// These, and so much of those.
    fn plus(&self, share: f64, more: &Self) -> Self {
        let add = |one: f64, other: f64| one + share * other;
        let add_two = |one: [f64; 2], other: [f64; 2]| [add(one[0], other[0]), add(one[1], other[1])];
        Self {
            skin: add_two(self.skin, more.skin),
            plasma: add(self.plasma, more.plasma),
            acting: [
                add(self.acting[0], more.acting[0]),
                add(self.acting[1], more.acting[1]),
                add(self.acting[2], more.acting[2]),
            ],
            glucose: add_two(self.glucose, more.glucose),
            gut: [
                add_two(self.gut[0], more.gut[0]),
                add_two(self.gut[1], more.gut[1]),
                add_two(self.gut[2], more.gut[2]),
            ],
        }
    }
}

/// A body.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    parameters: Parameters,
    now: Amounts,
}

impl Body {
    /// A body in which nothing changes at that glucose, and the insulin that holds it there, in units an hour. None
    /// where no insulin does: without any, glucose would be lower.
    #[must_use]
    pub fn steady(parameters: Parameters, mmol_l: f64) -> Option<(Self, f64)> {
        let at = |plasma: f64| {
            let Parameters { transport, disposal, production, .. } = parameters;
            let acting = [transport, disposal, production].map(|action| action.strength * plasma);
            let accessible = mmol_l * parameters.glucose_volume_l();
            let remote = acting[0] * accessible / (parameters.return_per_min + acting[1]);
            let under = parameters.clearance_per_min * plasma * parameters.insulin_volume_l();
            let skin = [under * parameters.insulin_peak_min; 2];
            Self {
                parameters,
                now: Amounts { skin, plasma, acting, glucose: [accessible, remote], gut: [[0.0; 2]; 3] },
            }
        };
        let rises = |plasma: f64| {
            let Flows { liver, brain, urine, disposed, .. } = at(plasma).flows(Hour::USUAL);
            liver > brain + urine + disposed
        };
        if !rises(0.0) {
            return None;
        }
        let (mut low, mut high) = (0.0, 500.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if rises(middle) { low = middle } else { high = middle }
        }
        let plasma = f64::midpoint(low, high);
        let rate = parameters.clearance_per_min * plasma * parameters.insulin_volume_l();
        Some((at(plasma), rate * 60.0 / 1_000.0))
    }

    /// Its parameters.
    #[must_use]
    pub const fn parameters(&self) -> &Parameters {
        &self.parameters
    }

    /// Blood glucose, mmol/L.
    #[must_use]
    pub fn mmol_l(&self) -> f64 {
        self.now.glucose[0] / self.parameters.glucose_volume_l()
    }

    /// Plasma insulin, mU/L.
    #[must_use]
    pub const fn insulin_mu_l(&self) -> f64 {
        self.now.plasma
    }

    /// Insulin under the skin, units.
    #[must_use]
    pub fn under_skin(&self) -> f64 {
        self.now.skin.iter().sum::<f64>() / 1_000.0
    }

    /// The three ways of insulin: transport, disposal (both 1/min), and the share by which the liver is held back.
    #[must_use]
    pub const fn acting(&self) -> [f64; 3] {
        self.now.acting
    }

    /// Carbohydrate in the gut that will still appear, mmol.
    #[must_use]
    pub fn in_gut_mmol(&self) -> f64 {
        self.now.gut.iter().flatten().sum()
    }

    /// Glucose in both compartments, mmol.
    #[must_use]
    pub fn glucose_mmol(&self) -> f64 {
        self.now.glucose.iter().sum()
    }

    /// Rapid insulin that goes in at once, in units.
    pub fn inject(&mut self, units: f64) {
        self.now.skin[0] += units * 1_000.0;
    }

    /// Carbohydrate eaten at once, in grams.
    pub fn eat(&mut self, grams: f64, pace: Pace) {
        self.now.gut[pace as usize][0] += grams / GRAMS_PER_MMOL * self.parameters.meal_share;
    }

    /// Puts glucose to another value, both compartments in proportion; insulin stays as it is.
    pub fn set_mmol_l(&mut self, mmol_l: f64) {
        let factor = mmol_l / self.mmol_l();
        self.now.glucose = self.now.glucose.map(|amount| amount * factor);
    }

    /// What moves glucose and insulin now.
    #[must_use]
    pub fn flows(&self, hour: Hour) -> Flows {
        self.parameters.flows(&self.now, hour)
    }

    /// One minute goes by, with insulin going in at a steady rate (units an hour).
    pub fn minute(&mut self, units_per_hour: f64, hour: Hour) {
        self.pass(1.0, units_per_hour, hour);
    }

    /// Some time goes by: one step of the classical Runge-Kutta method of fourth order. What is eaten or injected at
    /// once is put in between steps, so that no step spans a jump.
    pub fn pass(&mut self, minutes: f64, units_per_hour: f64, hour: Hour) {
        let rate = units_per_hour * 1_000.0 / 60.0;
        let slope = |at: &Amounts| self.parameters.slope(at, rate, hour);
        let first = slope(&self.now);
        let second = slope(&self.now.plus(minutes / 2.0, &first));
        let third = slope(&self.now.plus(minutes / 2.0, &second));
        let fourth = slope(&self.now.plus(minutes, &third));
        let sum = first.plus(2.0, &second).plus(2.0, &third).plus(1.0, &fourth);
        self.now = self.now.plus(minutes / 6.0, &sum);
    }
}

impl Parameters {
    fn glucose_volume_l(&self) -> f64 {
        self.glucose_volume_l_kg * self.weight_kg
    }

    fn insulin_volume_l(&self) -> f64 {
        self.insulin_volume_l_kg * self.weight_kg
    }

    fn flows(&self, now: &Amounts, hour: Hour) -> Flows {
        let mmol_l = now.glucose[0] / self.glucose_volume_l();
        let brain = self.brain_mmol_kg_min * self.weight_kg * (mmol_l / BRAIN_FULL_MMOL_L).min(1.0);
        let urine = RENAL_PER_MIN * (mmol_l - RENAL_MMOL_L).max(0.0) * self.glucose_volume_l();
        // More insulin than stops the liver does not make it take glucose up: never below zero.
        let held_back = (1.0 - now.acting[2]).max(0.0) * hour.liver;
        let defends = self.defence * (1.0 - mmol_l / DEFENCE_BELOW_MMOL_L).max(0.0);
        let liver = self.liver_mmol_kg_min * self.weight_kg * (held_back + defends);
        let from_gut = |(amounts, pace): (&[f64; 2], Pace)| amounts[1] / self.peak_min(pace);
        Flows {
            gut: now.gut.iter().zip(Pace::ALL).map(from_gut).sum(),
            liver,
            brain,
            urine,
            disposed: now.acting[1] * now.glucose[1],
            insulin: now.skin[1] / self.insulin_peak_min,
            cleared: self.clearance_per_min * now.plasma * self.insulin_volume_l(),
        }
    }

    fn peak_min(&self, pace: Pace) -> f64 {
        self.meal_peak_min * pace.share_of_meal_peak()
    }

    /// How fast each amount changes, a minute, with insulin going in at a rate (mU/min).
    fn slope(&self, now: &Amounts, insulin_in: f64, hour: Hour) -> Amounts {
        let Flows { gut, liver, brain, urine, disposed, insulin, cleared } = self.flows(now, hour);
        let moved = now.acting[0] * now.glucose[0];
        let returned = self.return_per_min * now.glucose[1];
        let follows = |acting: f64, action: Action| {
            action.rate_per_min * (action.strength * hour.sensitivity * now.plasma - acting)
        };
        let leaves = now.skin[0] / self.insulin_peak_min;
        let goes_on = |place: usize, pace: Pace| {
            let [first, second] = now.gut[place];
            let peak = self.peak_min(pace);
            [-first / peak, (first - second) / peak]
        };
        Amounts {
            skin: [insulin_in - leaves, leaves - insulin],
            plasma: (insulin - cleared) / self.insulin_volume_l(),
            acting: [
                follows(now.acting[0], self.transport),
                follows(now.acting[1], self.disposal),
                follows(now.acting[2], self.production),
            ],
            glucose: [gut + liver + returned - moved - brain - urine, moved - returned - disposed],
            gut: [goes_on(0, Pace::Fast), goes_on(1, Pace::Meal), goes_on(2, Pace::Slow)],
        }
    }
}

/// Below this the liver answers a low, mmol/L: about where adrenaline rises (from memory, no source read).
const DEFENCE_BELOW_MMOL_L: f64 = 3.8;
