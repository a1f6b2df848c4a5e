//! Small texts laid out.

use super::laid_out;

#[track_caller]
fn check(text: &str, expected: &str) {
    let out = laid_out(text);
    assert_eq!(out, expected);
    assert_eq!(laid_out(&out), out, "not the same twice");
}

#[test]
fn blanks_and_units() {
    check(
        "node  bud{chip ws2811;colour RGB;volts 12V ;draw 0.5W;}\n\n\n\nlet a=4*28+2",
        "node bud { chip ws2811; colour RGB; volts 12 V; draw 0.5 W }\n\nlet a = 4 * 28 + 2\n",
    );
    check(
        "prop heron*6 { node bud ; string (2+3)*4nodes }\nprop heron[ 1 , 3 .. 5 ]{ string 8 nodes }\n",
        "prop heron * 6      { node bud; string (2 + 3) * 4 nodes }\nprop heron[1, 3..5] { string 8 nodes }\n",
    );
}

#[test]
fn lines_stay_as_they_are_broken() {
    check(
        "prop roof {\nnode bud\n  string: left 34 nodes ->\n gable 22 nodes   # the peak\n -> right 46 nodes\n\n}\n\
         wire shed.1: owl ->\n# up the wall\nfox\nwire shed:owl,\nfox\n",
        "prop roof {\n    node bud\n    string: left 34 nodes ->\n        gable 22 nodes  # the peak\n        \
         -> right 46 nodes\n}\nwire shed.1: owl ->\n    # up the wall\n    fox\nwire shed: owl,\n    fox\n",
    );
}

#[test]
fn each_setting_of_a_long_block_has_its_line() {
    check(
        "\n\ncontroller shed {   # by the door\n\n  host 10.0.0.1 ; universes from 1;  # both\n ports 1..2 {  }\n\
         ports 3..4 {\n nodes at most 50 nodes }}\n",
        "controller shed {     # by the door\n    host 10.0.0.1\n    universes from 1  # both\n    ports 1..2 { }\n    \
         ports 3..4 {\n        nodes at most 50 nodes\n    }\n}\n",
    );
    check(
        "let a = 1; let b = 2;\nlet c = 3 ;; let d = 4",
        "let a = 1\nlet b = 2\nlet c = 3\nlet d = 4\n",
    );
}

#[test]
fn a_comma_on_one_port_is_written_as_what_it_means() {
    check(
        "wire shed.1: owl, fox[1,2]\nwire shed.dmx1: par,par\nwire shed.1..2: owl, fox\nwire shed: owl, fox\n",
        "wire shed.1:    owl -> fox[1, 2]\nwire shed.dmx1: par -> par\nwire shed.1..2: owl, fox\nwire shed:      owl, fox\n",
    );
}

#[test]
fn comments_of_a_paragraph_begin_in_one_column() {
    check(
        "#!x\n#  kept   as it is  \nlet a = 1 # one\nlet abc = 2\n let abcd = 3    # three\n\n\n\nlet b = 1    # apart\n# end",
        "#!x\n#  kept   as it is\nlet a = 1     # one\nlet abc = 2\nlet abcd = 3  # three\n\nlet b = 1  # apart\n# end\n",
    );
}

#[test]
fn marks_and_line_ends_are_the_texts_own() {
    check("\u{feff}let  a = 1\r\nlet b = 2", "\u{feff}let a = 1\r\nlet b = 2\r\n");
    check("", "");
    check("controller c { host [fe80::1%e0] }\n", "controller c { host [fe80::1%e0] }\n");
    check("wire c.1: owl at 12/1\n", "wire c.1: owl at 12/1\n");
    check("prop owl { label \"a ,  ; # b\" }#c", "prop owl { label \"a ,  ; # b\" }  #c\n");
}
