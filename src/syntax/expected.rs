//! The words for the rules of the grammar in findings.

use super::Rule;

/// What a rule is called in a finding; `None` for rules that only group others.
///
/// There is no `_` arm, so a new rule does not compile without its word.
#[allow(clippy::too_many_lines, reason = "a table: one arm for each rule of the grammar")]
pub(super) fn word(rule: Rule) -> Option<&'static str> {
    Some(match rule {
        Rule::EOI => "the end of the line",
        Rule::name => "a name",
        Rule::number | Rule::operand_start | Rule::quantity | Rule::minus | Rule::open => {
            "a number"
        }
        Rule::unit | Rule::percent => "a unit",
        Rule::text => "a text in quotes",
        Rule::quad_rest | Rule::bracketed => "an address",
        Rule::reference => "a name",
        Rule::select => "`[`",
        Rule::part | Rule::more_parts => "`.`",
        Rule::block => "`{`",
        Rule::close_square => "`]`",
        Rule::close => "`)`",
        Rule::arrow_mark => "`->`",
        Rule::comma => "`,`",
        Rule::colon => "`:`",
        Rule::equals => "`=`",
        Rule::dots => "`..`",
        Rule::times => "`*`",
        Rule::over => "`/`",
        Rule::setting => "a setting",
        Rule::run | Rule::run_nodes => "a run",
        Rule::chain | Rule::item => "a prop or string",
        Rule::skip | Rule::skip_word => "`skip`",
        Rule::lead | Rule::lead_word => "`lead`",
        Rule::pin | Rule::at_word => "`at`",
        Rule::feed | Rule::from_word => "`from`",
        Rule::fuse | Rule::fuse_word => "`fuse`",
        Rule::place => "`at` or `every`",
        Rule::like_word => "`like`",
        Rule::of_word => "`of`",
        Rule::by_word => "`by`",
        Rule::channel_word => "`channel`",
        Rule::universes_word => "`universes`",
        Rule::slots_word => "`slots`",
        Rule::through_word => "`through`",
        Rule::apart_word => "`apart`",
        Rule::every_word => "`every`",
        Rule::start_word => "`start`",
        Rule::end_word => "`end`",
        Rule::node_word => "`node`",
        Rule::nodes_word => "`nodes`",
        Rule::strands_word => "`strands`",
        Rule::plus
        | Rule::small
        | Rule::b
        | Rule::exponent
        | Rule::w
        | Rule::gap
        | Rule::stop
        | Rule::parting
        | Rule::whole
        | Rule::like
        | Rule::args_end
        | Rule::setting_end
        | Rule::plain_end
        | Rule::arg
        | Rule::numbered
        | Rule::named
        | Rule::ranged
        | Rule::range_end
        | Rule::sum_end
        | Rule::strings
        | Rule::span_of
        | Rule::sum
        | Rule::pin_sum
        | Rule::operand
        | Rule::bracket
        | Rule::operator
        | Rule::letter
        | Rule::more
        | Rule::hyphen
        | Rule::wide => return None,
        Rule::statements
        | Rule::one_statement
        | Rule::one_head
        | Rule::one_setting
        | Rule::one_setting_head
        | Rule::statement
        | Rule::block_statement
        | Rule::head
        | Rule::wire
        | Rule::reserve
        | Rule::stored
        | Rule::renamed
        | Rule::power
        | Rule::inject
        | Rule::include
        | Rule::let_statement
        | Rule::prop_word
        | Rule::display_word
        | Rule::kind_word
        | Rule::wire_word
        | Rule::reserve_word
        | Rule::stored_word
        | Rule::renamed_word
        | Rule::power_word
        | Rule::inject_word
        | Rule::include_word
        | Rule::stock_word
        | Rule::let_word => "a statement",
    })
}

/// The words for a set of rules, most useful first, each once; `end` is what ends the stretch.
///
/// Where arithmetic may go on, its operators are left out.
pub(super) fn words(rules: &[Rule], end: &'static str) -> Vec<&'static str> {
    let operator =
        |rule: &Rule| matches!(rule, Rule::plus | Rule::minus | Rule::times | Rule::over);
    let goes_on = rules.contains(&Rule::plus);
    let mut words: Vec<&'static str> = rules
        .iter()
        .filter(|rule| !(goes_on && operator(rule)))
        .filter_map(|rule| if *rule == Rule::EOI { Some(end) } else { word(*rule) })
        .collect();
    words.sort_by_key(|word| weight(word));
    words.dedup();
    words
}

/// The order of the words: names, numbers and units first, optional marks and the end last.
fn weight(word: &'static str) -> (u8, &'static str) {
    let order = match word {
        "a name" | "a prop or string" | "a run" => 0,
        "a number" => 1,
        "a unit" => 2,
        "`[`" | "`.`" | "`*`" | "`/`" | "`..`" => 4,
        "the end of the line" => 5,
        _ => 3,
    };
    (order, word)
}
