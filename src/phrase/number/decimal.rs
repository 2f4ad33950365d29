//! Exact decimal numbers. They become floats only at the end, so "twelve point four" and a written 12.4 give the same float.

/// `digits / 10^scale`, never negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Decimal {
    pub digits: u64,
    pub scale: u32,
}

/// Largest scale, and most digits, that stay exact in a 64-bit float's division.
const MOST_DIGITS: u64 = 1 << 53;
const LARGEST_SCALE: u32 = 15;

impl Decimal {
    pub fn whole(digits: u64) -> Self {
        Self { digits, scale: 0 }
    }

    /// `whole` with these digits after the point.
    pub(super) fn with_fraction(whole: u64, fraction: &str) -> Option<Self> {
        let scale = u32::try_from(fraction.len()).ok().filter(|s| *s <= LARGEST_SCALE)?;
        let fraction: u64 = if fraction.is_empty() { 0 } else { fraction.parse().ok()? };
        let digits = whole.checked_mul(10u64.pow(scale))?.checked_add(fraction).filter(|d| *d < MOST_DIGITS)?;
        Some(Self { digits, scale })
    }

    /// From figures such as `12.45`, `.5` or `12`.
    pub(super) fn from_figures(figures: &str) -> Option<Self> {
        let (whole, fraction) = figures.split_once('.').unwrap_or((figures, ""));
        if whole.is_empty() && fraction.is_empty() || !whole.chars().chain(fraction.chars()).all(|c| c.is_ascii_digit())
        {
            return None;
        }
        Self::with_fraction(if whole.is_empty() { 0 } else { whole.parse().ok()? }, fraction)
    }

    pub fn times(self, factor: u64) -> Option<Self> {
        Some(Self { digits: self.digits.checked_mul(factor).filter(|d| *d < MOST_DIGITS)?, ..self })
    }

    pub(super) fn plus(self, other: Self) -> Option<Self> {
        let scale = self.scale.max(other.scale);
        let at = |d: Self| d.digits.checked_mul(10u64.pow(scale - d.scale));
        Some(Self { digits: at(self)?.checked_add(at(other)?).filter(|d| *d < MOST_DIGITS)?, scale })
    }

    pub fn value(self) -> f64 {
        self.digits as f64 / 10f64.powi(self.scale as i32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn figures_become_the_float_that_rust_reads(whole in 0u32..100_000, fraction in "[0-9]{0,6}") {
            let figures = format!("{whole}.{fraction}");
            let parsed: f64 = figures.parse().unwrap();
            prop_assert_eq!(Decimal::from_figures(&figures).unwrap().value(), parsed);
        }
    }

    #[test]
    fn too_long_is_refused_and_not_wrapped() {
        assert_eq!(Decimal::from_figures("99999999999999999999"), None);
        assert_eq!(Decimal::from_figures("9007199254740991").unwrap().times(10), None);
        assert_eq!(Decimal::from_figures("."), None);
    }
}
