//! Values as people write them on the command line.

use crate::decision::Estimate;

/// A share: `10%` or `0.1`.
///
/// # Errors
/// What is wrong with it, in words.
pub fn share(text: &str) -> Result<f64, String> {
    let (number, percent) = match text.trim().strip_suffix('%') {
        Some(n) => (n.trim(), true),
        None => (text.trim(), false),
    };
    let value: f64 = number.parse().map_err(|_| format!("`{text}` is not a share; write 10%"))?;
    let value = if percent { value / 100.0 } else { value };
    if !percent && value >= 1.0 {
        return Err(format!("`{text}` could be a fraction or per cent; write {number}%"));
    }
    (0.0..1.0).contains(&value).then_some(value).ok_or_else(|| format!("`{text}` is not between 0 and 100 %"))
}

/// A mesh opening in millimetres: `400um`, `400µm`, `0.4mm` or `0.4`.
///
/// # Errors
/// What is wrong with it, in words.
pub fn mesh(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let micrometres = ["um", "µm", "μm"].iter().find_map(|unit| text.strip_suffix(unit));
    let number = micrometres.or_else(|| text.strip_suffix("mm")).unwrap_or(text).trim();
    let value: f64 =
        number.parse().map_err(|_| format!("`{text}` is not an opening; write 400um or 0.4mm"))?;
    let mm = if micrometres.is_some() { value / 1000.0 } else { value };
    if !(mm.is_finite() && mm > 0.0) {
        return Err(format!("an opening of {text} is not above zero"));
    }
    if mm > 20.0 {
        return Err(format!("an outlet mesh of {mm} mm; write {number}um if micrometres are meant"));
    }
    Ok(mm)
}

/// A bar spacing in millimetres: `1.5` or `1.5mm`.
///
/// # Errors
/// What is wrong with it, in words.
pub fn spacing(text: &str) -> Result<f64, String> {
    let number = text.trim().strip_suffix("mm").unwrap_or(text).trim();
    let value: f64 = number.parse().map_err(|_| format!("`{text}` is not a bar spacing in millimetres"))?;
    if value > 0.0 && value < 200.0 {
        return Ok(value);
    }
    Err(format!("a bar spacing of {text} mm is not between 0 and 200 mm"))
}

/// A number of fish: `3000`, or `3000,2500,3600` with its limits.
///
/// # Errors
/// What is wrong with it, in words.
pub fn stock_number(text: &str) -> Result<Estimate, String> {
    let parts: Vec<f64> = text
        .split(',')
        .map(|p| p.trim().parse::<f64>().map_err(|_| format!("`{text}` is not a number of fish")))
        .collect::<Result<_, _>>()?;
    let estimate = match parts[..] {
        [value] => Estimate::exact(value),
        [value, low, high] => Estimate { value, low, high },
        _ => return Err(format!("`{text}`: write a number, or number,low,high")),
    };
    let ordered = estimate.low > 0.0 && estimate.low <= estimate.value && estimate.value <= estimate.high;
    (ordered && estimate.high < 1e12)
        .then_some(estimate)
        .ok_or_else(|| format!("`{text}`: the number must be above 0 and lie between its limits"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_could_mean_two_things_is_refused() {
        assert_eq!(share("10%"), Ok(0.1));
        assert_eq!(share("0.1"), Ok(0.1));
        assert!(share("10").unwrap_err().contains("write 10%"));
        assert_eq!(mesh("400um"), Ok(0.4));
        assert_eq!(mesh("1mm"), Ok(1.0));
        assert!(mesh("400").unwrap_err().contains("400um"));
        assert!(mesh("0").is_err() && spacing("-1").is_err() && stock_number("3000,4000,5000").is_err());
    }
}
