//! The equaliser held against its analogue prototypes and against figures worked out elsewhere.

use units::{At, Block, Frame, Settings, Value};

use super::prototype::{Band, Shape};
use super::*;

mod design;
mod dynamic;
mod running;

/// Settings with rows for some bands.
fn with_bands(bands: &[Band]) -> Settings {
    let mut settings = Settings::defaults(&SPEC);
    for band in bands {
        let row = settings.add_row();
        let shape = Shape::ALL.iter().position(|shape| *shape == band.shape).unwrap();
        set_row(&mut settings, row, &SHAPE, Value::Choice(shape));
        set_row(&mut settings, row, &HZ, Value::Number(band.hz));
        set_row(&mut settings, row, &GAIN_DB, Value::Number(band.gain_db));
        set_row(&mut settings, row, &Q, Value::Number(band.q));
        set_row(&mut settings, row, &SLOPE, Value::Number(band.slope_db_per_octave));
    }
    settings
}

fn place(row: usize, param: &Param) -> At {
    let params = SPEC.rows.unwrap().params;
    At { row: Some(row), param: params.iter().position(|p| p.name == param.name).unwrap() }
}

fn set_row(settings: &mut Settings, row: usize, param: &Param, value: Value) {
    settings.set(place(row, param), value);
}

fn bell(hz: f64, gain_db: f64, q: f64) -> Band {
    Band { shape: Shape::Bell, hz, gain_db, q, slope_db_per_octave: 12.0 }
}

fn run(settings: &Settings, rate_hz: f64, mut data: Vec<Frame>) -> Vec<Frame> {
    let mut equaliser = build(settings, &Context::plain(rate_hz, 1)).unwrap();
    for block in data.chunks_mut(4096) {
        equaliser.process(&mut Block::key_only(block), None);
    }
    data
}

/// Level of one component of an impulse's response at a frequency, by the definition of the Fourier transform.
fn level_db(response: &[Frame], rate_hz: f64, hz: f64, component: fn(&Frame) -> f64) -> f64 {
    let mut sum = [0.0; 2];
    for (n, frame) in response.iter().enumerate() {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / rate_hz);
        sum[0] += component(frame) * cos;
        sum[1] -= component(frame) * sin;
    }
    units::db_from_power(sum[0] * sum[0] + sum[1] * sum[1])
}
