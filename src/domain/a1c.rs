//! A laboratory's A1c in the unit it came in: per cent (NGSP) or mmol/mol (IFCC). The other is worked out by the
//! published master equation, and what could be of either unit is asked about.

use super::diary::Amount;
use serde::{Deserialize, Serialize};

/// The lowest and highest A1c that is taken for one, in hundredths of a per cent. Common practice, no source: far
/// outside what laboratories report.
const PERCENT_HUNDREDTHS: std::ops::RangeInclusive<i32> = 300..=2_000;

/// The same in hundredths of a mmol/mol, by the master equation (3 % is 9.3, 20 % is 195.1).
const MMOL_MOL_HUNDREDTHS: std::ops::RangeInclusive<i32> = 900..=19_500;

/// IFCC = 10.929 x (NGSP - 2.15) (NGSP/IFCC master equation), in thousandths and hundredths.
const SLOPE_THOUSANDTHS: i64 = 10_929;
const OFFSET_HUNDREDTHS: i64 = 215;

/// The unit of an A1c.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum A1cUnit {
    /// Per cent of haemoglobin (NGSP).
    #[serde(rename = "%")]
    Percent,
    /// Millimoles per mole of haemoglobin (IFCC).
    #[serde(rename = "mmol/mol")]
    MmolMol,
}

impl A1cUnit {
    /// By its name, however it is capitalised.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        [Self::Percent, Self::MmolMol].into_iter().find(|unit| unit.name().eq_ignore_ascii_case(name))
    }

    /// As it is written.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Percent => "%",
            Self::MmolMol => "mmol/mol",
        }
    }

    const fn other(self) -> Self {
        match self {
            Self::Percent => Self::MmolMol,
            Self::MmolMol => Self::Percent,
        }
    }
}

/// An A1c, as the laboratory wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct A1c {
    amount: Amount,
    unit: A1cUnit,
}

/// Why a number is no A1c.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotAnA1c {
    /// It could be of either unit, and none is said.
    EitherUnit,
    /// It cannot be meant in that unit, and could be in the other.
    OtherUnit(A1cUnit),
    /// It is none in any unit.
    Neither,
}

impl A1c {
    /// A number with its unit; without one only where just one can be meant.
    ///
    /// # Errors
    /// When the number cannot be an A1c in that unit, or could be in both.
    pub fn new(amount: Amount, unit: Option<A1cUnit>) -> Result<Self, NotAnA1c> {
        let can_be = |unit: A1cUnit| match unit {
            A1cUnit::Percent => PERCENT_HUNDREDTHS.contains(&amount.0),
            A1cUnit::MmolMol => MMOL_MOL_HUNDREDTHS.contains(&amount.0),
        };
        let unit = match (unit, can_be(A1cUnit::Percent), can_be(A1cUnit::MmolMol)) {
            (None, true, true) => return Err(NotAnA1c::EitherUnit),
            (None, true, false) => A1cUnit::Percent,
            (None, false, true) => A1cUnit::MmolMol,
            (Some(unit), _, _) if can_be(unit) => unit,
            (Some(unit), _, _) if can_be(unit.other()) => return Err(NotAnA1c::OtherUnit(unit.other())),
            (_, _, _) => return Err(NotAnA1c::Neither),
        };
        Ok(Self { amount, unit })
    }

    /// The number, in the unit it came in.
    #[must_use]
    pub const fn amount(self) -> Amount {
        self.amount
    }

    /// The unit it came in.
    #[must_use]
    pub const fn unit(self) -> A1cUnit {
        self.unit
    }

    /// In per cent (NGSP): as written, or worked out to one decimal.
    #[must_use]
    pub fn percent(self) -> Amount {
        match self.unit {
            A1cUnit::Percent => self.amount,
            A1cUnit::MmolMol => {
                let hundredths = i64::from(self.amount.0) * 1_000;
                let tenths = rounded(hundredths + OFFSET_HUNDREDTHS * SLOPE_THOUSANDTHS, SLOPE_THOUSANDTHS * 10);
                Amount(tenths * 10)
            }
        }
    }

    /// In mmol/mol (IFCC): as written, or worked out to a whole number.
    #[must_use]
    pub fn mmol_mol(self) -> Amount {
        match self.unit {
            A1cUnit::MmolMol => self.amount,
            A1cUnit::Percent => {
                let over = i64::from(self.amount.0) - OFFSET_HUNDREDTHS;
                Amount(rounded(over * SLOPE_THOUSANDTHS, 100_000) * 100)
            }
        }
    }
}

impl std::fmt::Display for A1c {
    /// As written, and what that is in the other unit.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.unit {
            A1cUnit::Percent => write!(out, "{} % ({} mmol/mol)", self.amount, self.mmol_mol()),
            A1cUnit::MmolMol => {
                let tenths = self.percent().0 / 10;
                write!(out, "{} mmol/mol ({}.{} %)", self.amount, tenths / 10, tenths % 10)
            }
        }
    }
}

/// Half up; both are positive.
fn rounded(n: i64, by: i64) -> i32 {
    i32::try_from((n * 2 + by) / (by * 2)).unwrap_or(i32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, unit: &str) -> Result<A1c, NotAnA1c> {
        A1c::new(Amount::parse(text).unwrap(), A1cUnit::named(unit))
    }

    /// 7.0 % is 53 mmol/mol in the published table. The other rows are what the master equation gives, and agree with
    /// that table from memory.
    #[test]
    fn the_master_equation_leads_both_ways() {
        for (percent, mmol_mol) in
            [("4", "20"), ("5", "31"), ("6", "42"), ("6.5", "48"), ("7", "53"), ("8", "64"), ("9", "75"), ("10", "86")]
        {
            let (here, there) = (read(percent, "%").unwrap(), read(mmol_mol, "mmol/mol").unwrap());
            assert_eq!((here.percent().to_string(), here.mmol_mol().to_string()), (percent.into(), mmol_mol.into()));
            assert_eq!((there.percent().to_string(), there.mmol_mol().to_string()), (percent.into(), mmol_mol.into()));
        }
        // The published inverse, % = 0.0915 x mmol/mol + 2.15, gives the same tenth for every whole mmol/mol.
        for mmol_mol in 9..=195 {
            let tenths = (0.915 * f64::from(mmol_mol) + 21.5 + 1e-9).round();
            let ours = A1c::new(Amount(mmol_mol * 100), Some(A1cUnit::MmolMol)).unwrap().percent();
            assert!((f64::from(ours.0) / 10.0 - tenths).abs() < 1.01, "{mmol_mol}: {ours}");
        }
    }

    #[test]
    fn a_number_that_could_be_of_either_unit_is_asked_about() {
        assert_eq!(read("6.8", "").unwrap().unit(), A1cUnit::Percent);
        assert_eq!(read("53", "").unwrap().unit(), A1cUnit::MmolMol);
        for either in ["9", "12", "20"] {
            assert_eq!(read(either, ""), Err(NotAnA1c::EitherUnit), "{either}");
            assert!(read(either, "%").is_ok() && read(either, "MMOL/MOL").is_ok(), "{either}");
        }
        assert_eq!(read("53", "%"), Err(NotAnA1c::OtherUnit(A1cUnit::MmolMol)));
        assert_eq!(read("6.8", "mmol/mol"), Err(NotAnA1c::OtherUnit(A1cUnit::Percent)));
        for none in ["0", "2.9", "195.01", "900"] {
            assert_eq!(read(none, ""), Err(NotAnA1c::Neither), "{none}");
        }
    }

    #[test]
    fn it_is_shown_as_written_with_the_other_unit_beside_it() {
        assert_eq!(read("7,15", "%").unwrap().to_string(), "7.15 % (55 mmol/mol)");
        assert_eq!(read("53", "mmol/mol").unwrap().to_string(), "53 mmol/mol (7.0 %)");
    }
}
