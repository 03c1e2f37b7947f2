use crate::support::lampwise;

#[test]
fn the_tree_of_the_capper_for_paper() {
    let out = lampwise(&["tree", "demo:minimal", "--complaint", "wont-start", "--depth", "2"]).good();
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn the_review_of_the_capper() {
    let out = lampwise(&["review", "demo:minimal"]).good();
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn a_share_that_is_none_is_refused() {
    assert!(lampwise(&["tree", "demo:minimal", "--least", "7"]).bad(2).contains("--least"));
}
