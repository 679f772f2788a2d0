use super::together;
use crate::patch::check::view::View;
use crate::patch::model::{AttackMeans, Envelope, Follows, Retrigger, Shape, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::measure::{CURVE, PEAK, show_voltage};
use crate::patch::read::sheet::{plain, sheet};

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let attack = sheet(fields, "attack", &CURVE);
    let attack = fields.needed("attack", attack, "write attack = \"5 ms\"");
    let decay = sheet(fields, "decay", &CURVE);
    let decay = fields.needed("decay", decay, "write decay = \"20 ms\"");
    let shape = fields.choice("shape", &[("linear", Shape::Linear), ("exponential", Shape::Exponential)]);
    let means = fields
        .choice("attack-means", &[("to-peak", AttackMeans::ToPeak), ("time-constant", AttackMeans::TimeConstant)]);
    let peak = plain(fields, "peak", &PEAK);
    let peak = fields.needed("peak", peak, "write peak = \"8 V\", the voltage that the envelope rises to");
    let rise = plain(fields, "threshold-rise", &PEAK);
    let help = "write threshold-rise = \"2 V\", at which the next input reads high";
    let rise = fields.needed("threshold-rise", rise, help);
    let fall = plain(fields, "threshold-fall", &PEAK);
    let follows = fields.choice("follows", &[("trigger", Follows::Trigger), ("gate", Follows::Gate)]);
    let retrigger = fields.choice(
        "retrigger",
        &[("from-here", Retrigger::FromHere), ("from-zero", Retrigger::FromZero), ("ignore", Retrigger::Ignore)],
    );
    let (attack, decay, peak, threshold_rise) = (attack?, decay?, peak?, rise?);
    let (shape, means, fall) = (shape?.unwrap_or(Shape::Linear), means?.unwrap_or(AttackMeans::ToPeak), fall?);
    let (follows, retrigger) = (follows?.unwrap_or(Follows::Trigger), retrigger?.unwrap_or(Retrigger::FromHere));
    let threshold_fall = fall.unwrap_or(threshold_rise);
    if threshold_rise >= peak {
        let (found, most) = (show_voltage(threshold_rise), show_voltage(peak));
        let expected = format!("less than {most}, the highest voltage that it reaches");
        let help = "lower `threshold-rise` or raise `peak`";
        return Err(together(fields, "threshold-rise", "never reads high", &found, &expected, help));
    }
    if threshold_fall > threshold_rise {
        let (found, most) = (show_voltage(threshold_fall), show_voltage(threshold_rise));
        let message = "has its `threshold-fall` above its `threshold-rise`";
        let help = "an input that reads high above one voltage reads low below the same or a lower one";
        let expected = format!("at most {most}, the `threshold-rise`");
        return Err(together(fields, "threshold-fall", message, &found, &expected, help));
    }
    if (shape, means) == (Shape::Linear, AttackMeans::TimeConstant) {
        let help = "write shape = \"exponential\", or attack-means = \"to-peak\"";
        let message = "rises in a straight line, which has no time constant";
        let (found, expected) = ("\"time-constant\" with a linear shape", "\"to-peak\" or an exponential shape");
        return Err(together(fields, "attack-means", message, found, expected, help));
    }
    Ok(StageKind::Envelope(Envelope {
        attack,
        decay,
        shape,
        attack_means: means,
        peak,
        threshold_rise,
        threshold_fall,
        follows,
        retrigger,
    }))
}
