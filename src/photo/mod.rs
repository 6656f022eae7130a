//! Bytes to an oriented picture with its capture time and resolution tags; limits enforced.

/// A decoded photograph, upright (EXIF orientation applied).
#[derive(Debug, Clone)]
pub struct Pixels {
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Brightness, row by row from the top left, `width * height` values: the Y of JPEG (ITU-R BT.601,
    /// full range) whatever the file format, so that formats agree.
    pub luma: Vec<u8>,
    /// Colour at half resolution; `None` for a grey photograph.
    pub chroma: Option<Chroma>,
}

/// The two colour-difference planes of JPEG (ITU-R BT.601, full range, 128 is neutral) at half resolution.
#[derive(Debug, Clone)]
pub struct Chroma {
    /// Half the photograph's width, rounded up.
    pub width: u32,
    /// Half the photograph's height, rounded up.
    pub height: u32,
    /// Blue difference, row by row.
    pub cb: Vec<u8>,
    /// Red difference, row by row.
    pub cr: Vec<u8>,
}

impl Pixels {
    /// Red, green and blue (0-255) at column `x` and row `y`; coordinates outside are clamped to the frame.
    pub fn rgb(&self, x: i64, y: i64) -> [f32; 3] {
        let x = x.clamp(0, i64::from(self.width) - 1) as usize;
        let y = y.clamp(0, i64::from(self.height) - 1) as usize;
        let luma = f32::from(self.luma[y * self.width as usize + x]);
        let Some(chroma) = &self.chroma else { return [luma; 3] };
        let at = (y / 2) * chroma.width as usize + x / 2;
        let (cb, cr) = (f32::from(chroma.cb[at]) - 128.0, f32::from(chroma.cr[at]) - 128.0);
        // JFIF 1.02, conversion to RGB.
        [luma + 1.402 * cr, luma - 0.344_136 * cb - 0.714_136 * cr, luma + 1.772 * cb]
            .map(|v| v.clamp(0.0, 255.0))
    }
}
