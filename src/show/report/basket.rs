use super::advise::{Advised, fit_phrase};
use super::advise_figures::{delay_phrase, us};
use super::advise_json::fit_word;
use super::legend::{legend, state_key};
use super::{Align, Table, advise_sentence, state_word, words};
use crate::judge::advise::{Basket, Extreme, Lot, Part};
use crate::judge::{Band, Judged, State};
use crate::patch::{ORIGINAL, Rig};
use crate::text::counted;
use crate::time::Span;
use serde_json::{Value, json};
use std::fmt::Write;
use std::io;

/// A basket of components and the versions in which they are heard.
#[derive(Clone, Debug)]
pub struct Shop<'a> {
    /// The patch as it was named.
    pub name: &'a str,
    /// What the patch calls itself, if it does.
    pub title: Option<&'a str>,
    /// The rig that they are put into.
    pub rig: &'a Rig,
    /// What they come to.
    pub basket: &'a Basket,
    /// What each of them is called as it usually is and at its worst, in the order of the basket.
    pub names: Vec<[String; 2]>,
}

/// What a version is heard as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Own {
    state: State,
    /// The widest gap of the path's box.
    gap: Option<Span>,
}

/// A row of the table for the shop, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShopRow {
    /// The component.
    pub name: String,
    /// What it costs, or a dash.
    pub price: String,
    /// At which tempos it fits.
    pub fit: String,
    /// Its delay.
    pub delay: String,
    /// How much sooner or later it may come, whichever is less, and still be sure.
    pub slack: String,
    /// What is heard of it.
    pub usual: String,
    /// What is heard of it at its worst.
    pub worst: String,
}

/// The headings of the table for the shop.
pub const SHOP_COLUMNS: [&str; 7] =
    ["component", "price", "does it fit?", "its delay", "slack", "as it usually is", "at its worst"];

impl<'a> Shop<'a> {
    /// The basket of a rig, its versions called so that none is called as anything of `taken`.
    #[must_use]
    pub fn new((name, title): (&'a str, Option<&'a str>), rig: &'a Rig, basket: &'a Basket, taken: &[String]) -> Self {
        let names = basket.lots.iter().map(|lot| version_names(&lot.part.name, taken)).collect();
        Self { name, title, rig, basket, names }
    }

    /// The path in short: `wren.clock`.
    #[must_use]
    pub fn short_on(&self) -> String {
        self.basket.advice.target.name(self.rig).replacen("sequencer.", "", 1)
    }

    /// The advice as it is shown elsewhere.
    #[must_use]
    pub fn advised(&self) -> Advised<'_> {
        Advised {
            name: self.name.to_owned(),
            max_gap_from: None,
            title: self.title,
            variant: ORIGINAL,
            rig: self.rig,
            advice: &self.basket.advice,
            instead: None,
            blamed: None,
            aside: self.basket.aside.as_ref().map(|(aside, advice)| (aside, advice)),
        }
    }

    /// The rows of the table, of all versions as they were judged.
    #[must_use]
    pub fn rows(&self, judged: &[&Judged<'_>]) -> Vec<ShopRow> {
        let row = |(lot, [usual, worst]): (&Lot, &[String; 2])| {
            let part = &lot.part;
            ShopRow {
                name: words::plain(&part.name),
                price: part.price.as_deref().map_or_else(|| "—".to_owned(), words::plain),
                fit: fit_phrase(part),
                delay: part.delay.map_or_else(|| "no pulse".to_owned(), delay_phrase),
                slack: slack(part).map_or_else(|| "—".to_owned(), |slack| format!("{} µs", us(slack))),
                usual: self.heard(judged, usual),
                worst: if lot.worst.is_some() { self.heard(judged, worst) } else { "the same".to_owned() },
            }
        };
        self.basket.lots.iter().zip(&self.names).map(row).collect()
    }

    /// What is said above the table: what the path needs, and what is left out.
    #[must_use]
    pub fn lead(&self) -> String {
        advise_sentence(&self.advised())
    }

    /// Which components are left out; nothing where none is.
    #[must_use]
    pub fn left_out(&self) -> Option<String> {
        let left = &self.basket.left_out;
        let each = left.iter().map(|part| format!("{} ({})", words::plain(&part.name), fit_phrase(part)));
        let (heard, each) = (counted(self.basket.lots.len(), "component"), each.collect::<Vec<_>>().join(", "));
        (!left.is_empty()).then(|| format!("A page takes {heard} well, the best first. Left out: {each}."))
    }

    /// What a version is heard as, tempos alike in one: `flam, up to 24 ms, at 50, 80; split, 7.5 ms, at 160`.
    fn heard(&self, judged: &[&Judged<'_>], version: &str) -> String {
        let all: Vec<(Own, String)> = judged
            .iter()
            .filter(|judged| judged.variant.name == version)
            .map(|judged| (self.own(judged), judged.tempo.to_string()))
            .collect();
        let label = |own: &Own| match own.state {
            State::Off => state_word(State::Off).to_owned(),
            _ => own.gap.map_or_else(|| "never meets".to_owned(), |gap| Band::of(gap).to_string()),
        };
        let mut kinds: Vec<String> = Vec::new();
        all.iter().map(|(own, _)| label(own)).for_each(|kind| {
            if !kinds.contains(&kind) {
                kinds.push(kind);
            }
        });
        let max_gap = self.basket.advice.aim.max_gap;
        let said = kinds.iter().map(|kind| {
            let of: Vec<&(Own, String)> = all.iter().filter(|(own, _)| label(own) == *kind).collect();
            let gaps: Vec<Span> =
                of.iter().filter(|(own, _)| own.state != State::Off).filter_map(|(own, _)| own.gap).collect();
            let widest = gaps.iter().max().map_or_else(String::new, |widest| {
                let up = if gaps.iter().all(|gap| gap == widest) { "" } else { "up to " };
                format!(", {up}{} ms", words::gap_ms(*widest, max_gap))
            });
            let tempos = of.iter().map(|(_, tempo)| tempo.as_str()).collect::<Vec<_>>().join(", ");
            match (kinds.len(), widest.is_empty()) {
                (1, _) => format!("{kind}{widest}"),
                (_, true) => format!("{kind} at {tempos}"),
                (_, false) => format!("{kind}{widest}, at {tempos}"),
            }
        });
        said.collect::<Vec<_>>().join("; ")
    }

    /// What the path's box is heard as in a version, those in the way left aside.
    fn own(&self, judged: &Judged<'_>) -> Own {
        let own = self.basket.advice.target.sequencer;
        let standing = &judged.verdict.standings[own];
        let mine = judged.verdict.gaps.iter().filter(|gap| {
            gap.between.contains(&own) && !gap.between.iter().any(|&player| self.basket.is_in_the_way(player))
        });
        let gap = mine.filter_map(crate::judge::Gap::worst).max();
        let lost = !standing.right || standing.hits == 0 || (gap.is_none() && judged.verdict.standings.len() > 1);
        let state = match gap {
            _ if lost => State::Off,
            Some(gap) if gap > self.basket.advice.aim.max_gap => State::Apart,
            _ => State::Together,
        };
        Own { state, gap }
    }
}

/// What a component's version is called, and the one at its worst: a comma and a blank keep the second apart from every name of a variant,
/// and the first where it would be one of those in `taken`.
#[must_use]
pub fn version_names(component: &str, taken: &[String]) -> [String; 2] {
    let is_taken = taken.iter().any(|name| name.eq_ignore_ascii_case(component));
    let usual = if is_taken { format!("{component}, the component") } else { component.to_owned() };
    [usual, format!("{component}, at worst")]
}

/// Where its values stand at the worst, in a few words.
#[must_use]
pub fn extreme_phrase(stands: Extreme) -> String {
    match stands {
        Extreme::Soonest => "all its values so that it comes soonest".to_owned(),
        Extreme::Latest => "all its values so that it comes latest".to_owned(),
        Extreme::Looks { phase, period } => {
            let [phase, period] = [phase, period].map(words::exact_ms);
            format!("its loop looks first at {phase} ms, then every {period} ms")
        }
        Extreme::Late(delay) => format!("always {} ms late", words::exact_ms(delay)),
    }
}

/// How much sooner or later a component may come, whichever is less.
fn slack(part: &Part) -> Option<Span> {
    part.room.map(|room| room.sooner.min(room.later))
}

/// The table for the shop, in so many columns of a terminal, and what is said above it and below.
#[must_use]
pub fn shop_table(shop: &Shop<'_>, judged: &[&Judged<'_>], width: usize) -> String {
    let title = shop.title.map_or_else(|| words::plain(shop.name), words::plain);
    let mut out = format!("{title}\n\n{}\n\n", shop.lead());
    let rows = shop.rows(judged);
    let mut table =
        Table::new(&SHOP_COLUMNS.map(|name| (name, if name == "slack" { Align::Right } else { Align::Left })));
    let mut heard = Vec::new();
    for row in rows {
        let ShopRow { name, price, fit, delay, slack, usual, worst } = row;
        heard.extend([&usual, &worst].iter().flat_map(|cell| cell.split("; ")).map(str::to_owned));
        table.row([name, price, fit, delay, slack, usual, worst]);
    }
    out.push_str(&table.render_within(width));
    out.push('\n');
    out.push_str("  slack:    how much sooner or later it may come, whichever is less, and still be sure; with a minus, so much is missing\n");
    out.push_str(&legend(&heard));
    if let Some(left) = shop.left_out() {
        let _ = write!(out, "\n{left}\n");
    }
    out
}

/// A basket for programs: the table, and of each version every tempo.
#[must_use]
pub fn shop_json(shop: &Shop<'_>, judged: &[&Judged<'_>]) -> Value {
    let basket = shop.basket;
    let advice = basket.judged_by();
    let us = |span: Span| span.0 as f64 / crate::time::PS_PER_US as f64;
    let version = |name: &String, stands: Option<Extreme>| {
        let tempos = judged.iter().filter(|judged| judged.variant.name == *name).map(|judged| {
            let own = shop.own(judged);
            let band = own.gap.map(|gap| Band::of(gap).key());
            json!({
                "tempo_bpm": judged.tempo.bpm(), "passes": judged.passes(), "state": state_key(own.state),
                "worst_ms": own.gap.map(Span::ms), "band": band,
            })
        });
        json!({ "version": name, "stands": stands.map(extreme_phrase), "tempos": tempos.collect::<Vec<_>>() })
    };
    let component = |(lot, [usual, worst]): (&Lot, &[String; 2])| {
        let Part { name, price, note, fit, delay, room, .. } = &lot.part;
        json!({
            "name": name, "price": price, "note": note, "fit": fit_word(*fit),
            "delay_us": delay.map(|d| [us(d.least), us(d.most)]),
            "to_least_us": room.map(|r| us(r.sooner)), "to_most_us": room.map(|r| us(r.later)),
            "slack_us": slack(&lot.part).map(us),
            "usual": version(usual, None),
            "worst": lot.worst.as_ref().map(|(stands, _)| version(worst, Some(*stands))),
        })
    };
    let left = basket.left_out.iter().map(|part| json!({ "name": part.name, "fit": fit_word(part.fit) }));
    let aside = basket.aside.iter().flat_map(|(aside, _)| &aside.players);
    json!({
        "format": 1, "patch": shop.name, "on": basket.advice.target.name(shop.rig), "max_gap_ms": advice.aim.max_gap.ms(),
        "in_the_way": aside.map(|(player, ..)| shop.rig.player_name(*player)).collect::<Vec<_>>(),
        "windows": advice.sure.iter().map(|w| json!({ "least_ms": w.least.ms(), "most_ms": w.most.ms() })).collect::<Vec<_>>(),
        "components": basket.lots.iter().zip(&shop.names).map(component).collect::<Vec<_>>(),
        "left_out": left.collect::<Vec<_>>(),
    })
}

/// A basket as CSV: a row a version and tempo; those that are left out have one row without a version.
///
/// # Errors
/// As of the writer.
pub fn shop_csv(shop: &Shop<'_>, judged: &[&Judged<'_>], out: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "component",
        "price",
        "fit",
        "slack_us",
        "version",
        "tempo_bpm",
        "passes",
        "state",
        "worst_ms",
        "band",
    ])?;
    let lead = |part: &Part| {
        let slack = slack(part).map(|slack| (slack.0 as f64 / crate::time::PS_PER_US as f64).to_string());
        let price = part.price.clone().unwrap_or_default();
        [part.name.clone(), price, fit_word(part.fit).to_owned(), slack.unwrap_or_default()]
    };
    for (lot, [usual, worst]) in shop.basket.lots.iter().zip(&shop.names) {
        let versions = std::iter::once(usual).chain(lot.worst.is_some().then_some(worst));
        for judged in versions.flat_map(|name| judged.iter().filter(move |judged| judged.variant.name == *name)) {
            let own = shop.own(judged);
            let gap = own.gap.map_or_else(String::new, |gap| gap.ms().to_string());
            let band = own.gap.map_or("", |gap| Band::of(gap).key());
            let more = [
                judged.variant.name.clone(),
                judged.tempo.to_string(),
                judged.passes().to_string(),
                state_key(own.state).to_owned(),
                gap,
                band.to_owned(),
            ];
            csv.write_record(lead(&lot.part).into_iter().chain(more))?;
        }
    }
    for part in &shop.basket.left_out {
        csv.write_record(lead(part).into_iter().chain(std::iter::repeat_n(String::new(), 6)))?;
    }
    csv.flush()
}
