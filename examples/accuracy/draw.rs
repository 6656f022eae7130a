//! Lines on pictures, for looking at.

/// Draws a polyline, x then y in pixels; what lies outside the picture is left out.
pub fn line(canvas: &mut image::RgbImage, points: &[[f64; 2]], colour: [u8; 3]) {
    for w in points.windows(2) {
        let n = (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]).ceil().max(1.0) as usize * 2;
        for k in 0..=n {
            let f = k as f64 / n as f64;
            let (x, y) = (w[0][0] + f * (w[1][0] - w[0][0]), w[0][1] + f * (w[1][1] - w[0][1]));
            if x >= 0.0 && y >= 0.0 && x < f64::from(canvas.width()) && y < f64::from(canvas.height()) {
                canvas.put_pixel(x as u32, y as u32, image::Rgb(colour));
            }
        }
    }
}
