//! Resolution tags to a scale, where they mean one.

use crate::photo::{Resolution, ResolutionUnit, Tags};
use crate::units::MmPerPx;

/// Finest and coarsest calibration believed, pixels per millimetre. A frame of fry lies between a macro
/// photograph of a tray and a compound objective; the pixel densities of screens and printers (72, 96, 300,
/// even 600 to the inch, 2.8 to 23.6 px/mm) lie inside or below it, so the value alone proves nothing.
const BELIEVED: std::ops::RangeInclusive<f64> = 25.0..=5000.0;
/// Most the two directions may differ, as a share.
const SQUARE: f64 = 0.005;

/// Scale from the tags: OME-XML `PhysicalSizeX`/`Y`, else TIFF or PNG resolution that is no common print
/// or screen density and comes from no camera. `None` when they say nothing that can be believed.
pub(super) fn read(tags: &Tags) -> Option<MmPerPx> {
    if let Some(scale) = tags.description.as_deref().and_then(ome) {
        return Some(scale);
    }
    let Resolution { x, y, unit } = tags.resolution?;
    let per_mm = match unit {
        ResolutionUnit::None => return None,
        ResolutionUnit::Inch => 1.0 / 25.4,
        ResolutionUnit::Centimetre => 0.1,
        ResolutionUnit::Metre => 0.001,
    };
    // A camera that writes its focal length knows no distance: its density is never a measurement.
    let camera = tags.focal_length_mm.is_some();
    let round = unit == ResolutionUnit::Inch && is_print_density(x);
    if camera || round || (x - y).abs() > SQUARE * x {
        return None;
    }
    let px_per_mm = x * per_mm;
    BELIEVED.contains(&px_per_mm).then(|| MmPerPx::from_px_per_mm(px_per_mm)).flatten()
}

/// Densities screens, printers and cameras write: whole multiples of 72, 96, 100 and 150 to the inch.
fn is_print_density(per_inch: f64) -> bool {
    [72.0, 96.0, 100.0, 150.0].iter().any(|d| {
        let ratio = per_inch / d;
        ratio < 100.0 && (ratio - ratio.round()).abs() < 1e-6
    })
}

/// `PhysicalSizeX` and `PhysicalSizeXUnit` of the first `Pixels` element of OME-XML.
///
/// # References
/// OME data model, schema 2016-06: `PhysicalSizeX` is the size of a pixel, its unit micrometre when
/// `PhysicalSizeXUnit` is absent.
fn ome(xml: &str) -> Option<MmPerPx> {
    let pixels = &xml[xml.find("<Pixels").or_else(|| xml.find(":Pixels "))?..];
    let pixels = &pixels[..pixels.find('>')?];
    let attribute = |name: &str| {
        let at = pixels.find(&format!(" {name}=\""))? + name.len() + 3;
        let rest = &pixels[at..];
        Some(&rest[..rest.find('"')?])
    };
    let side = |axis: &str| -> Option<f64> {
        let size: f64 = attribute(&format!("PhysicalSize{axis}"))?.parse().ok()?;
        let unit = match attribute(&format!("PhysicalSize{axis}Unit")).unwrap_or("µm") {
            "nm" => 1e-6,
            "µm" | "\u{3bc}m" | "um" | "&#181;m" | "&#956;m" => 1e-3,
            "mm" => 1.0,
            "cm" => 10.0,
            _ => return None,
        };
        Some(size * unit)
    };
    let (x, y) = (side("X")?, side("Y")?);
    if (x - y).abs() > SQUARE * x {
        return None;
    }
    MmPerPx::new(x)
}

#[cfg(test)]
mod tests {
    use super::{ome, read};
    use crate::photo::{Resolution, ResolutionUnit, Tags};

    fn tags(x: f64, unit: ResolutionUnit) -> Tags {
        Tags { resolution: Some(Resolution { x, y: x, unit }), ..Tags::default() }
    }

    #[test]
    fn densities_of_screens_printers_and_cameras_are_not_believed() {
        for density in [72.0, 96.0, 180.0, 300.0, 350.0, 600.0, 720.0, 1200.0] {
            assert!(read(&tags(density, ResolutionUnit::Inch)).is_none(), "{density}");
        }
        let mut phone = tags(5080.0, ResolutionUnit::Inch);
        assert!(read(&phone).is_some());
        phone.focal_length_mm = Some(4.2);
        assert!(read(&phone).is_none());
        assert!(read(&tags(1.0, ResolutionUnit::None)).is_none());
    }

    #[test]
    fn a_microscope_s_resolution_is_read_in_its_unit() {
        // 150 px/mm written to the centimetre and to the metre.
        for t in [tags(1500.0, ResolutionUnit::Centimetre), tags(150_000.0, ResolutionUnit::Metre)] {
            assert!((read(&t).unwrap().px_per_mm() - 150.0).abs() < 1e-9);
        }
    }

    #[test]
    fn ome_xml_gives_the_size_of_a_pixel() {
        let xml = r#"<OME><Image ID="Image:0"><Pixels ID="Pixels:0" SizeX="10" PhysicalSizeX="6.5" PhysicalSizeY="6.5"><Channel/></Pixels></Image></OME>"#;
        assert!((ome(xml).unwrap().get() - 0.0065).abs() < 1e-12);
        let nm = xml
            .replace("\"6.5\"", "\"6500\"")
            .replace("<Channel/>", "")
            .replace(" SizeX", " PhysicalSizeXUnit=\"nm\" PhysicalSizeYUnit=\"nm\" SizeX");
        assert!((ome(&nm).unwrap().get() - 0.0065).abs() < 1e-12);
        assert!(ome("<OME><Pixels SizeX=\"3\"></Pixels></OME>").is_none());
        assert!(ome("a picture of a fish").is_none());
    }
}
