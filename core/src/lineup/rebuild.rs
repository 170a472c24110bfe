//! What one rebuild of a part takes here, whether anybody asks for it yet or not.

use super::draft::operations;
use super::efficiency::stage_efficiency;
use super::here::{recipes_of, shut_here};
use super::likely::likely_powder_g;
use crate::catalogue::{Part, Recipe, Spray};
use crate::code::{PartCode, PowderCode, RecipeCode};
use crate::planner::{Draw, Operation};
use crate::situation::Situation;

/// What one rebuild of a part takes, by one approved recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct Rebuild {
    /// Which part.
    pub part: PartCode,
    /// By which recipe.
    pub recipe: RecipeCode,
    /// In which revision.
    pub revision: i64,
    /// What its stages take of powder, in order.
    pub stages: Vec<StageTake>,
    /// What it takes from the planner's stores: gas, fuel, minutes to a service, plates.
    pub draws: Vec<Draw>,
    /// Minutes of work, from its first operation to its last, without waits.
    pub minutes: i64,
    /// Minutes during which gas flows.
    pub spray_min: i64,
}

/// What a stage takes of its powder.
#[derive(Debug, Clone, PartialEq)]
pub struct StageTake {
    /// Which.
    pub powder: PowderCode,
    /// What must be there, in grams: it suffices in as many builds as the site asks for.
    pub load_g: i64,
    /// What it takes as likely too much as too little, in grams.
    pub likely_g: i64,
    /// Standard deviation of what it takes, in grams.
    pub sd_g: i64,
    /// All of it must come from one lot.
    pub one_lot: bool,
}

/// The ways to rebuild a part here, each by an approved recipe; empty if this cell cannot make it.
#[must_use]
pub fn rebuilds(situation: &Situation, part: &Part) -> Vec<Rebuild> {
    let recipes = recipes_of(situation, part).into_iter();
    let open = recipes.filter(|recipe| shut_here(situation, part, recipe).is_empty());
    open.filter_map(|recipe| rebuild(situation, recipe))
        .collect()
}

fn rebuild(situation: &Situation, recipe: &Recipe) -> Option<Rebuild> {
    let (planned, needs) = operations(situation, recipe, 0).ok()?;
    let sprays: Vec<&Spray> = recipe.sprays().collect();
    let loads = needs.iter().map(|need| need.powder_g);
    let stages = sprays.iter().zip(loads);
    let stages: Option<Vec<StageTake>> = stages
        .map(|(spray, load_g)| take(situation, spray, load_g))
        .collect();
    Some(Rebuild {
        part: recipe.part.clone(),
        recipe: recipe.code.clone(),
        revision: recipe.revision,
        stages: stages?,
        draws: planned.iter().flat_map(|it| it.draws.clone()).collect(),
        minutes: planned.iter().map(span).sum(),
        spray_min: needs.iter().map(|need| need.gas_min).sum(),
    })
}

const fn span(operation: &Operation) -> i64 {
    operation.after + operation.minutes
}

/// What is fed is what is deposited over the share that sticks, so that its spread relative to itself is
/// nearly that of the share (first order of the usual propagation of uncertainty, JCGM 100:2008, from
/// memory).
fn take(situation: &Situation, spray: &Spray, load_g: i64) -> Option<StageTake> {
    let likely_g = likely_powder_g(situation, spray)?.min(load_g);
    let efficiency = stage_efficiency(situation, spray)
        .ok()?
        .predicted
        .efficiency;
    let fed = spray.deposited_g as f64 / efficiency.mean();
    let sd_g = fed * efficiency.sd() / efficiency.mean();
    Some(StageTake {
        powder: spray.powder.clone(),
        load_g,
        likely_g,
        #[expect(clippy::cast_possible_truncation, reason = "grams of one build")]
        sd_g: sd_g.round() as i64,
        one_lot: spray.one_lot,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Flag, RecipeState};
    use crate::lineup::tests::site::{code, part, recipe, site};

    /// 4 000 g stick at 0.8: 5 000 g are fed, 150 are lost at starts and stops, 50 stay on the coupon.
    /// Without a spread as many are likely as are loaded. An hour at the mill and half an hour of first run
    /// come after 124 minutes at the cell (worked out in `lineup/need.rs`).
    #[test]
    fn a_rebuild_takes_what_its_recipe_takes_here() {
        let situation = site();
        let found = rebuilds(&situation, &situation.parts[0]);
        let [one] = found.as_slice() else {
            panic!("one recipe: {found:?}")
        };
        let [stage] = one.stages.as_slice() else {
            panic!("one stage: {one:?}")
        };
        assert_eq!(
            (stage.load_g, stage.likely_g, stage.sd_g),
            (5_200, 5_200, 0)
        );
        assert!(stage.one_lot);
        assert_eq!(one.minutes, 124 + 60 + 30);
        assert_eq!(
            one.draws.len(),
            2,
            "fuel for spraying and for the mill: {:?}",
            one.draws
        );
    }

    /// At a standard deviation of 0.04 on 0.8 the 5 000 g that are fed have one of 5 000 x 0.05 = 250.
    #[test]
    fn what_is_fed_spreads_as_the_share_that_sticks() {
        let mut situation = site();
        for spray in situation.recipes[0].operations.iter_mut() {
            if let Some(spray) = &mut spray.spray {
                spray.efficiency_sd_permille = 40;
            }
        }
        let found = rebuilds(&situation, &situation.parts[0]);
        let stage = &found[0].stages[0];
        assert_eq!(stage.sd_g, 250);
        assert!(stage.likely_g < stage.load_g, "{stage:?}");
    }

    #[test]
    fn what_this_cell_may_not_make_has_no_rebuild() {
        let mut situation = site();
        situation.recipes[0].state = RecipeState::Draft;
        assert_eq!(rebuilds(&situation, &situation.parts[0]), []);
        let mut situation = site();
        situation.recipes = vec![recipe("P-2-316L", "P-2", 4_000)];
        let refused = part("P-2", &[Flag::HoldsPressure]);
        situation.parts = vec![refused.clone()];
        assert_eq!(rebuilds(&situation, &refused), []);
        let _: PartCode = code("P-2");
    }
}
