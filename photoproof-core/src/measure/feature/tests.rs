//! Tests of the whole feature chain.

use super::*;

#[test]
fn focal_length_by_the_diagonal_rule() {
    // 36 mm x 24 mm frame, diagonal rule at 4032 x 3024: computed from the definition.
    for (mm, px) in [(13.0, 1514.3), (26.0, 3028.7), (77.0, 8969.5)] {
        let focal = focal_px(mm, 4032, 3024).unwrap();
        assert!((focal - px).abs() < 0.1, "{mm} mm gave {focal}");
    }
    assert_eq!(focal_px(0.0, 4032, 3024), None);
    assert_eq!(focal_px(f64::NAN, 4032, 3024), None);
    assert_eq!(focal_px(26.0, 0, 0), None);
}
