//! The order of the work, for other programs.

use super::super::work_order::label;
use super::hundredths;
use crate::plan::Plan;
use crate::plan::order::{Task, Turn, work_order};
use serde::Serialize;

/// One bed with work, or two that lie under one piece. Those that fit come first, as they are worked through.
#[derive(Clone, Debug, Serialize)]
pub struct TurnDocument {
    pub bed: String,
    /// The neighbour under the same piece, whose work this is too; `null` mostly.
    pub together_with: Option<String>,
    /// `cut`, `bring-in` or `cover`.
    pub phase: &'static str,
    /// Tonight, of all its people together.
    pub person_minutes: f64,
    /// How many people it wants.
    pub hands: u32,
    /// The people who do it, counted from 1; empty where the garden does not say who comes, or where it does not fit.
    pub who: Vec<u32>,
    /// Minutes after these people began; `null` where nobody is named.
    pub starts_after: Option<f64>,
    /// Why it has this turn: `saves-most`, `on-the-way`, `saves-less` or `due-later`; `null` where it does not fit.
    pub reason: Option<&'static str>,
    /// Whether it can be done before the deadline by those who come.
    pub fits: bool,
    /// Expected loss averted, in minutes of worth.
    pub averted: f64,
    /// Its place among those that are left first where only half come; `null` where it is not left.
    pub left_as: Option<usize>,
}

pub(super) fn documents(plan: &Plan<'_>) -> Vec<TurnDocument> {
    let order = work_order(plan);
    let document = |task: &Task, turn: Option<&Turn>| TurnDocument {
        bed: label(plan, task.bed),
        together_with: task.with.map(|with| label(plan, with)),
        phase: task.phase.word(),
        person_minutes: hundredths(task.minutes.0),
        hands: task.hands,
        who: turn.map(|turn| turn.who.clone()).unwrap_or_default(),
        starts_after: turn.and_then(|turn| turn.starts_after).map(|start| hundredths(start.0)),
        reason: turn.map(|turn| turn.reason.word()),
        fits: turn.is_some(),
        averted: hundredths(task.averted.0),
        left_as: order.leave_first.iter().position(|left| left.bed == task.bed).map(|place| place + 1),
    };
    let turns = order.turns.iter().map(|turn| document(&turn.task, Some(turn)));
    turns.chain(order.does_not_fit.iter().map(|task| document(task, None))).collect()
}
