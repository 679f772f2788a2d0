use super::cut::{Cut, Stretch};
use super::likeness::{LAG, cap, energy, likeness};
use super::spectrum::Bin;

/// The share of the largest possible correlation that a hit of the class has at least.
const LIKE: f64 = 0.75;
/// Hits that a class has at least.
pub(super) const LEAST: usize = 3;

/// A hit in a class: which cut, and how many samples after the cut's place it comes, against the class's first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Member {
    pub(super) cut: usize,
    pub(super) lag: f64,
}

struct Growing {
    /// The mean of what joined, each at unit energy and shifted to the first.
    sum: Vec<Bin>,
    energy: f64,
    /// How large the correlation of the mean with what it stands for can be.
    noise_share: f64,
    members: Vec<Member>,
}

/// Puts like hits into classes, strongest first; largest class first. Those under three hits are left out.
pub(super) fn classes(stretch: &Stretch, cuts: &[Cut], noise: f64, rate: f64) -> Vec<Vec<Member>> {
    let mut order: Vec<usize> = (0..cuts.len()).collect();
    let energies: Vec<f64> = cuts.iter().map(|cut| energy(&cut.samples)).collect();
    order.sort_by(|a, b| energies[*b].total_cmp(&energies[*a]));
    let reach = (LAG * rate) as usize;
    let mut growing: Vec<Growing> = Vec::new();
    for index in order {
        let cut = &cuts[index];
        let own_cap = cap(cut, noise);
        if own_cap == 0.0 {
            continue;
        }
        let best = growing
            .iter()
            .enumerate()
            .map(|(number, class)| {
                let alike = likeness(stretch, &class.sum, &cut.bins, [class.energy, energies[index]], reach);
                (number, alike, alike.correlation / (own_cap * class.cap()))
            })
            .max_by(|a, b| a.2.total_cmp(&b.2));
        let unit = 1.0 / energies[index].sqrt();
        match best {
            Some((number, alike, share)) if share >= LIKE => {
                growing[number].join(stretch, &cut.bins, unit, Member { cut: index, lag: alike.lag }, own_cap);
            }
            _ => growing.push(Growing {
                sum: cut.bins.iter().map(|bin| bin * unit).collect(),
                energy: 1.0,
                noise_share: 1.0 - own_cap * own_cap,
                members: vec![Member { cut: index, lag: 0.0 }],
            }),
        }
    }
    let mut classes: Vec<Vec<Member>> = growing.into_iter().map(|class| class.members).collect();
    classes.retain(|members| members.len() >= LEAST);
    classes.sort_by_key(|members| core::cmp::Reverse(members.len()));
    classes
}

impl Growing {
    fn cap(&self) -> f64 {
        (1.0 - self.noise_share / (self.members.len() as f64)).max(0.0).sqrt()
    }

    fn join(&mut self, stretch: &Stretch, bins: &[Bin], unit: f64, member: Member, own_cap: f64) {
        let count = self.members.len() as f64;
        // Where all are alike the sum grows as their number; shares of noise are kept as their mean.
        let shifted = stretch.fourier.later(bins, -member.lag);
        for (place, bin) in self.sum.iter_mut().zip(&shifted) {
            *place = (*place * count + bin * unit) / (count + 1.0);
        }
        self.energy = energy(&stretch.fourier.samples(self.sum.clone()));
        self.noise_share = (self.noise_share * count + 1.0 - own_cap * own_cap) / (count + 1.0);
        self.members.push(member);
    }
}
