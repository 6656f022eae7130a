//! Reading the rows and the data they name; comparing an answer with what is expected.

use std::path::PathBuf;

use frygauge::stats::Level;
use serde_json::Value;

/// A row of a reference file.
pub struct Row {
    pub id: String,
    pub method: String,
    pub inputs: Value,
    pub quantity: String,
    pub expected: String,
}

/// What the crate says to a row.
pub enum Answer {
    /// A number, to be held to the relative tolerance (and to the same absolutely below 1).
    Number(f64, f64),
    /// A word or list, to be equal.
    Text(String),
    /// The crate gives no answer where it should: a failure unless `undefined` is expected.
    Nothing,
    /// Not a quantity of this crate, and why.
    NotCovered(&'static str),
}

/// Expected values carry 12 digits; the default tolerance leaves room for the last three.
pub const TOLERANCE: f64 = 1e-9;

impl Answer {
    /// A number at the default tolerance, or nothing.
    pub fn of(value: Option<f64>) -> Self {
        Self::within(value, TOLERANCE)
    }

    /// A number at a wider tolerance, which the caller explains.
    pub fn within(value: Option<f64>, tolerance: f64) -> Self {
        value.map_or(Self::Nothing, |v| Self::Number(v, tolerance))
    }

    pub fn agrees_with(&self, row: &Row) -> Result<(), String> {
        let said = match self {
            Self::Number(value, tolerance) => {
                if let Ok(expected) = row.expected.parse::<f64>() {
                    let same = if expected.is_finite() {
                        (value - expected).abs() <= tolerance * expected.abs().max(1.0)
                            && (expected != 0.0 || value.abs() <= *tolerance)
                    } else {
                        *value == expected || (value.is_nan() && expected.is_nan())
                    };
                    if same {
                        return Ok(());
                    }
                }
                format!("{value}")
            }
            Self::Text(text) => {
                if *text == row.expected {
                    return Ok(());
                }
                text.clone()
            }
            Self::Nothing => {
                if matches!(row.expected.as_str(), "undefined" | "unbounded" | "nan") {
                    return Ok(());
                }
                "nothing".to_owned()
            }
            Self::NotCovered(_) => return Ok(()),
        };
        Err(format!(
            "  {} [{}] {}: got {said}, expected {} (inputs {})",
            row.id, row.method, row.quantity, row.expected, row.inputs
        ))
    }
}

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(name)
}

/// All rows of a reference file.
pub fn read(file: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(folder("ref").join(file)).unwrap();
    let headers = reader.headers().unwrap().clone();
    let at = |name: &str| headers.iter().position(|h| h == name).unwrap();
    let (id, method, inputs, quantity, expected) =
        (at("id"), at("method"), at("inputs"), at("quantity"), at("expected"));
    reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            Row {
                id: record[id].to_owned(),
                method: record[method].to_owned(),
                inputs: serde_json::from_str(&record[inputs]).unwrap(),
                quantity: record[quantity].to_owned(),
                expected: record[expected].to_owned(),
            }
        })
        .collect()
}

/// A data file as rows of column name to text.
pub fn data(file: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    csv::Reader::from_path(folder("data").join(file)).unwrap().deserialize().map(Result::unwrap).collect()
}

/// A column of a data file as numbers.
pub fn column(file: &str, name: &str) -> Vec<f64> {
    data(file).iter().map(|r| r[name].parse().unwrap()).collect()
}

impl Row {
    /// A number among the inputs; `None` when null or absent.
    pub fn maybe(&self, key: &str) -> Option<f64> {
        self.inputs.get(key).and_then(Value::as_f64)
    }

    /// A number among the inputs.
    pub fn number(&self, key: &str) -> f64 {
        self.maybe(key).unwrap_or_else(|| panic!("{}: no input {key}", self.id))
    }

    /// A count among the inputs.
    pub fn count(&self, key: &str) -> u64 {
        self.number(key) as u64
    }

    /// A list of numbers among the inputs.
    pub fn list(&self, key: &str) -> Vec<f64> {
        self.inputs[key]
            .as_array()
            .unwrap_or_else(|| panic!("{}: no list {key}", self.id))
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect()
    }

    /// The confidence level: `conf`, or 95 %.
    pub fn level(&self) -> Level {
        self.maybe("conf").map_or(Level::P95, |c| Level::new(c).unwrap())
    }

    /// The data file named, if any.
    pub fn file(&self) -> Option<&str> {
        self.inputs.get("data").and_then(Value::as_str)
    }
}
