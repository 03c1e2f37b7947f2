use crate::support::{PRESS, file, lampwise, root};

#[test]
fn a_good_file_gives_exit_code_0() {
    let out = lampwise(&["lint", "demos/minimal.toml"]).good();
    assert_eq!(out, "demos/minimal.toml: no mistakes found\n");
}

#[test]
fn all_mistakes_are_told_in_one_go_with_exit_code_1() {
    let text = PRESS.replace("ram = up\"]", "rma = up\"]").replace("lit = \"ram = down\"", "lti = \"ram = down\"");
    let ran = lampwise(&["lint", &file("two-mistakes.toml", text)]);
    assert_eq!((ran.code, ran.err.as_str()), (1, ""));
    assert!(ran.out.contains("`rma`") && ran.out.contains("`lti`"), "{}", ran.out);
    assert!(ran.out.contains("two-mistakes.toml:"), "{}", ran.out);
    assert!(ran.out.trim_end().lines().last().unwrap().contains("errors"), "{}", ran.out);
}

#[test]
fn a_file_that_can_not_be_read_does_not_hide_the_others() {
    let ran = lampwise(&["lint", "demos/minimal.toml", "demos/maximal.toml"]);
    assert_eq!(ran.code, 2);
    assert!(ran.out.contains("minimal.toml: no mistakes"), "{}", ran.out);
    assert!(ran.err.contains("there is no such file") && ran.err.contains("did you mean"), "{}", ran.err);
}

#[test]
fn a_machine_file_with_mistakes_gives_no_answer() {
    let text = PRESS.replace("needs = [\"ram = up\"]", "needs = [\"rma = up\"]");
    let err = lampwise(&["why", &file("wrong.toml", text), "--lamps", "X2 on"]).bad(1);
    assert!(err.contains("rma"), "{err}");
}

#[test]
fn the_libraries_that_a_file_names_are_read_beside_it() {
    let err = lampwise(&[
        "lint",
        &file("needs-library.toml", PRESS.replacen("[machine]\n", "[machine]\nlibrary = [\"nowhere.toml\"]\n", 1)),
    ])
    .bad(2);
    assert!(err.contains("the device library") && err.contains("nowhere.toml"), "{err}");
    file("shop.toml", "format = 1\n");
    let text = PRESS.replacen("[machine]\n", "[machine]\nlibrary = [\"shop.toml\"]\n", 1);
    let ran = lampwise(&["lint", &file("has-library.toml", text)]);
    assert!(!ran.err.contains("no such file"), "{}", ran.err);
}

#[test]
fn a_device_library_is_looked_over_by_itself_and_is_no_machine() {
    let page = std::fs::read_to_string(root().join("docs/machine-file.md")).unwrap();
    let text = page.split("```toml whole shop-devices.toml\n").nth(1).unwrap().split("```").next().unwrap();
    let good = file("shop-good.toml", text);
    assert!(lampwise(&["lint", &good]).good().contains("no mistakes found"));
    let wrong = file("shop-wrong.toml", text.replace("remedy = \"wipe\"", "remedy = \"wype\""));
    let ran = lampwise(&["lint", &wrong]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.out.contains("this type has no remedy `wype`") && ran.out.contains("shop-wrong.toml:16:10"),
        "{}",
        ran.out
    );
    let err = lampwise(&["why", &good]).bad(1);
    assert!(err.contains("this is a device library, no machine file"), "{err}");
}
