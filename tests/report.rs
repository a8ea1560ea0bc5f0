//! The report of a card in a real browser: that it lies right on narrow and wide
//! screens, by day and by night, on paper, without its script, and that names on it stay names.

#[path = "report/desk.rs"]
mod desk;
#[path = "report/eyes.rs"]
mod eyes;
#[allow(dead_code, reason = "each test crate uses a part of this")]
#[path = "common/segments.rs"]
mod segments;

use desk::Desk;
use eyes::{Eyes, Screen};
use serde_json::{Value, json};

fn page(desk: &Desk) -> String {
    let mut page = Vec::new();
    let evidence = |clip: usize| desk.evidence[clip].clone();
    rollmark::report::write(&desk.card, &evidence, &mut page).expect("memory takes everything");
    String::from_utf8(page).expect("the page is UTF-8")
}

/// Elements that reach beyond the screen, other than inside what scrolls by itself.
const TOO_WIDE: &str = "
    const wide = document.documentElement.clientWidth + 0.5;
    return [...document.querySelectorAll('body *')]
        .filter((e) => !e.closest('.scroll, .hidden, symbol, .skip') && e.getClientRects().length)
        .filter((e) => e.getBoundingClientRect().right > wide || e.getBoundingClientRect().left < -0.5)
        .map((e) => `${e.tagName}.${e.className} ${e.textContent.slice(0, 40)}`);
";

/// Pairs of neighbours whose boxes overlap.
const OVERLAPPING: &str = "
    const found = [];
    const check = (parts) => {
        const boxes = parts.filter((e) => e.getClientRects().length).map((e) => [e, e.getBoundingClientRect()]);
        for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
            const [a, p] = boxes[i], [b, q] = boxes[j];
            const x = Math.min(p.right, q.right) - Math.max(p.left, q.left);
            const y = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
            if (x > 1 && y > 1) found.push(`${a.outerHTML.slice(0, 90)} over ${b.outerHTML.slice(0, 90)}`);
        }
    };
    for (const group of document.querySelectorAll(
        'header, main, #clips, .pile, .row, .says, .who, .evidence, .seen, .told, .crops, .facts, .facts > div, #tools, .choice, .folds, ' +
        '.tally, .tally li > *, .legend, .axis, .line, footer, .skipped, .skipped li, details, tr'))
        check([...group.children].filter((e) => getComputedStyle(e).position !== 'absolute' || e.parentElement.matches('.axis')));
    for (const plot of document.querySelectorAll('svg.plot')) check([...plot.querySelectorAll('text')]);
    for (const lane of document.querySelectorAll('.track')) check([...lane.children].filter((li) => li.offsetWidth > 6));
    return found;
";

/// Text that its own box cuts off; bars of the timeline may, their names stand below.
const CUT_OFF: &str = "
    return [...document.querySelectorAll('body *:not(.bar, .scroll, .tablewrap, .hidden, input, svg *)')]
        .filter((e) => e.getClientRects().length && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== 'visible')
        .map((e) => e.outerHTML.slice(0, 120));
";

fn assert_lies_right(eyes: &Eyes, what: &str) {
    // Everything open, so that the folds are looked at too.
    eyes.ask("for (const d of document.querySelectorAll('details')) d.open = true; return 1;");
    eyes.expect_none(&format!("{what}: reaches beyond the screen"), TOO_WIDE);
    eyes.expect_none(&format!("{what}: overlaps"), OVERLAPPING);
    eyes.expect_none(&format!("{what}: cut off"), CUT_OFF);
    let scrolls =
        eyes.ask("const d = document.documentElement; return d.scrollWidth - d.clientWidth;");
    assert_eq!(scrolls, json!(0), "{what}: scrolls sideways");
}

#[test]
fn a_night_lies_right_from_a_phone_to_a_wide_screen() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(1600));
    eyes.keep_picture("night_1600", true);
    for width_px in [1600, 1024, 768, 390, 320] {
        eyes.set_width(width_px);
        if width_px == 390 {
            eyes.keep_picture("night_390", true);
        }
        assert_lies_right(&eyes, &format!("{width_px} px"));
        eyes.keep_picture(&format!("night_{width_px}_open"), true);
    }
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn cards_of_none_one_and_five_hundred_clips_lie_right() {
    for (what, desk) in [
        ("none", Desk::empty()),
        ("one", Desk::single()),
        ("five hundred", Desk::of(500)),
    ] {
        let eyes = Eyes::on(&page(&desk), Screen::wide(1600));
        eyes.keep_picture(&format!("card_{what}"), true);
        for width_px in [1600, 390] {
            eyes.set_width(width_px);
            assert_lies_right(&eyes, &format!("{what}, {width_px} px"));
        }
        let shown = eyes.ask("return document.querySelectorAll('article.clip').length;");
        assert_eq!(shown, json!(desk.card.clips.len()), "{what}");
        assert_eq!(eyes.complaints(), [""; 0], "{what}");
    }
}

/// Counts what scripts do with the document, and with what is in it.
const COUNTED: &str = "
    window.touched = 0;
    for (const kind of [Node, Element, HTMLElement, Document, DocumentFragment, HTMLCollection, NodeList, DOMTokenList]) {
        const type = kind.prototype;
        for (const [name, is] of Object.entries(Object.getOwnPropertyDescriptors(type))) {
            if (!is.configurable || name === 'constructor') continue;
            for (const way of ['get', 'set', 'value']) {
                const done = is[way];
                if (typeof done === 'function') is[way] = function (...given) { window.touched++; return done.apply(this, given); };
            }
            Object.defineProperty(type, name, is);
        }
    }
";

/// Bytes that a clip may take on the page of a large card, drawing and facts included; its
/// pictures have a bound of their own, three million bytes for the whole page.
const CLIP_BYTES: usize = 6_000;

#[test]
fn a_card_of_two_thousand_clips_opens_without_going_through_them_and_can_be_filtered() {
    let (few, many) = (Desk::of(20), Desk::of(2000));
    let pages = [page(&few), page(&many)];
    assert!(
        pages[1].len() - pages[0].len() < 2000 * CLIP_BYTES + (3 << 20),
        "{} bytes",
        pages[1].len()
    );
    let counted = Screen {
        before: COUNTED,
        ..Screen::wide(1600)
    };
    let eyes = pages.each_ref().map(|page| Eyes::on(page, counted));
    let touched = eyes
        .each_ref()
        .map(|eyes| eyes.ask("return window.touched;"));
    assert!(
        touched[0].as_u64() > Some(5),
        "nothing was counted: {touched:?}"
    );
    assert_eq!(touched[0], touched[1], "the script goes through the clips");

    let [_, eyes] = &eyes;
    let status = || eyes.ask("return document.querySelector('.found').textContent;");
    let shown = || {
        eyes.ask("return [...document.querySelectorAll('article.clip')].filter((a) => a.offsetParent).length;")
    };
    assert_eq!(status(), json!("2000 clips shown"));
    eyes.press("/");
    eyes.type_text("camera b B001C1998");
    assert_eq!(status(), json!("1 of 2000 clips shown"));
    assert_eq!(shown(), json!(1));
    eyes.press("Escape");
    eyes.ask("document.querySelector('input[value=nostart]').click(); return 1;");
    // Every 41st has no start.
    let lost = many
        .card
        .clips
        .iter()
        .filter(|clip| clip.outcome.start.is_none())
        .count();
    assert_eq!((shown(), lost), (json!(lost), 49));
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn search_filter_and_keys() {
    let desk = Desk::night();
    let eyes = Eyes::on(&page(&desk), Screen::wide(1600));
    let shown = || {
        eyes.ask(
            "return [...document.querySelectorAll('article.clip')].filter((a) => a.offsetParent).map((a) => a.id);",
        )
    };
    let status = || eyes.ask("return document.querySelector('.found').textContent;");
    assert_eq!(shown().as_array().unwrap().len(), 24);
    assert_eq!(status(), json!("24 clips shown"));

    // By what a person types, with the key for it.
    eyes.press("/");
    eyes.type_text("CAMERA b 23:59:44:04");
    assert_eq!(status(), json!("1 of 24 clips shown"));
    assert_eq!(shown(), json!(["clip-16"]));
    // Empty piles go, and bars of the others fade.
    assert_eq!(
        eyes.ask("return [...document.querySelectorAll('section.pile')].filter((s) => s.offsetParent).map((s) => s.id);"),
        json!(["ready"])
    );
    assert_eq!(
        eyes.ask("return document.querySelectorAll('.bar:not(.faint)').length;"),
        json!(1)
    );
    // Typing letters that are keys must type them.
    eyes.type_text(" jke/");
    assert_eq!(status(), json!("0 of 24 clips shown"));
    assert_eq!(
        eyes.ask("return document.getElementById('nomatch').offsetParent !== null;"),
        json!(true)
    );
    eyes.press("Escape");
    assert_eq!(status(), json!("24 clips shown"));

    // By pile and by camera.
    eyes.ask("document.querySelector('input[value=eye]').click(); return 1;");
    assert_eq!(shown(), json!(["clip-3", "clip-21", "clip-8", "clip-17"]));
    eyes.ask(
        "const s = document.querySelector('select'); s.value = '1'; s.dispatchEvent(new Event('input', {bubbles: true})); return 1;",
    );
    assert_eq!(shown(), json!(["clip-17"]));

    // A link to a clip that is filtered away brings it back, open.
    eyes.ask("document.querySelector('.lost a').click(); return 1;");
    let there = "const a = document.querySelector('#clip-18'); return [location.hash, a.offsetParent !== null, a.querySelector('details').open, document.activeElement === a];";
    assert_eq!(
        eventually(&eyes, there, json!(["#clip-18", true, true, true])),
        json!(["#clip-18", true, true, true])
    );

    // From clip to clip, and into its evidence.
    let here = "return document.activeElement.id;";
    eyes.press("k");
    assert_eq!(eyes.ask(here), json!("clip-10"));
    eyes.press("j");
    assert_eq!(eyes.ask(here), json!("clip-18"));
    eyes.press("e");
    assert_eq!(
        eyes.ask("return document.querySelector('#clip-18 details').open;"),
        json!(false)
    );
    // The keys can be turned off (WCAG 2.2, success criterion 2.1.4).
    eyes.ask("document.querySelector('input[name=keys]').checked = false; return 1;");
    eyes.press("k");
    assert_eq!(eyes.ask(here), json!("clip-18"));

    // Along a lane by arrows, with one stop for the tab key once one is in it.
    eyes.ask("for (const t of document.querySelectorAll('.track')) t.querySelector('a').focus(); return 1;");
    assert_eq!(
        eyes.ask("return [...document.querySelectorAll('.track')].map((t) => [...t.querySelectorAll('a')].filter((a) => a.tabIndex === 0).length);"),
        json!([1, 1, 1, 1])
    );
    eyes.ask("document.querySelector('.track a').focus(); return 1;");
    eyes.press("ArrowRight");
    eyes.press("ArrowRight");
    eyes.press("ArrowLeft");
    assert_eq!(
        eyes.ask("return document.activeElement.getAttribute('href');"),
        json!("#clip-2")
    );
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn a_link_shows_what_is_filtered_away_as_often_as_it_is_followed() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(1600));
    let hide = || eyes.ask("document.querySelector('input[value=ready]').click(); return 1;");
    let shows = |id: &str| format!("return document.getElementById('{id}').offsetParent !== null;");
    // By a bar to a clip of another pile, twice; the address is the same the second time.
    for _ in 0..2 {
        hide();
        assert_eq!(eyes.ask(&shows("clip-3")), json!(false));
        eyes.ask("document.querySelector('.bar[href=\"#clip-3\"]').click(); return 1;");
        let seen = eventually(&eyes, &shows("clip-3"), json!(true));
        assert_eq!(seen, json!(true));
        assert_eq!(
            eyes.ask("return document.activeElement.id;"),
            json!("clip-3")
        );
    }
    // By the tally to a pile.
    for pile in ["eye", "nostart"] {
        hide();
        assert_eq!(eyes.ask(&shows(pile)), json!(false));
        eyes.ask(&format!(
            "document.querySelector('.tally a[href=\"#{pile}\"]').click(); return 1;"
        ));
        assert_eq!(eventually(&eyes, &shows(pile), json!(true)), json!(true));
        let top = format!(
            "return Math.abs(document.getElementById('{pile}').getBoundingClientRect().top) < 200;"
        );
        assert_eq!(eventually(&eyes, &top, json!(true)), json!(true), "{pile}");
    }
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn a_name_is_found_however_its_accents_are_written() {
    let mut desk = Desk::of(20);
    // As one file system keeps it, and as another does.
    desk.card.clips[3].name = "A001_Cafe\u{301}.mov".into();
    desk.card.clips[4].name = "A001_Caf\u{e9}.mov".into();
    let eyes = Eyes::on(&page(&desk), Screen::wide(1600));
    for typed in ["cafe\u{301}", "CAF\u{c9}"] {
        eyes.ask(&format!(
            "const find = document.querySelector('input[name=find]'); find.value = '{typed}'; find.dispatchEvent(new Event('input', {{bubbles: true}})); return 1;"
        ));
        assert_eq!(
            eyes.ask("return document.querySelector('.found').textContent;"),
            json!("2 of 20 clips shown")
        );
    }
}

/// Who writes Japanese, say, ends a word that is under way with the key for it.
#[test]
fn a_key_that_ends_letters_under_way_leaves_the_search_alone() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(1600));
    eyes.press("/");
    eyes.type_text("camera");
    for (is_composing, left) in [(true, "camera"), (false, "")] {
        eyes.ask(&format!(
            "document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {{key: 'Escape', isComposing: {is_composing}, bubbles: true}})); return 1;"
        ));
        assert_eq!(
            eyes.ask("return document.querySelector('input[name=find]').value;"),
            json!(left)
        );
    }
}

/// What a script gives once it gives `wanted`, or after a while.
fn eventually(eyes: &Eyes, script: &str, wanted: Value) -> Value {
    let mut found = Value::Null;
    for _ in 0..50 {
        found = eyes.ask(script);
        if found == wanted {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    found
}

/// Text whose contrast with what it lies on is below 4.5, or 3 where it is large (WCAG 2.2,
/// success criterion 1.4.3), by the colours that the browser computed. Text in the timeline's striped
/// bars lies on a plain ground of its own.
const TOO_FAINT: &str = "
    const parse = (c) => { const m = c.match(/[\\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
    const channel = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
    const ground = (e) => {
        for (; e; e = e.parentElement) {
            const c = parse(getComputedStyle(e).backgroundColor);
            if (c[3] === 1) return c;
        }
        throw 'no ground';
    };
    const found = [];
    let checked = 0;
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const e = walker.currentNode.parentElement;
        if (!walker.currentNode.data.trim() || !e.getClientRects().length || e.closest('script, symbol, .skip')) continue;
        const style = getComputedStyle(e), inDrawing = e.closest('svg');
        const [a, b] = [light(parse(inDrawing ? style.fill : style.color)), light(ground(inDrawing ? inDrawing.parentElement : e))];
        const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        const size = parseFloat(style.fontSize);
        const large = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
        checked++;
        if (contrast < (large ? 3 : 4.5)) found.push(`${contrast.toFixed(2)} ${e.className} ${walker.currentNode.data.slice(0, 30)}`);
    }
    if (checked < 300) found.push(`only ${checked} texts`);
    return found;
";

#[test]
fn legible_by_day_and_by_night() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(1280));
    eyes.ask("for (const d of document.querySelectorAll('details')) d.open = true; return 1;");
    let ground = "return getComputedStyle(document.documentElement).backgroundColor.match(/\\d+/g).map(Number)[0];";
    eyes.expect_none("by day", TOO_FAINT);
    assert!(eyes.ask(ground).as_u64().unwrap() > 230);
    eyes.set_dark(true);
    eyes.expect_none("by night", TOO_FAINT);
    assert!(eyes.ask(ground).as_u64().unwrap() < 40);
    eyes.keep_picture("night_dark", true);
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn on_paper() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(720));
    eyes.set_print();
    // Ink on white, though the screen is dark; no controls, and nothing closed that asks to be opened.
    let ground = "return getComputedStyle(document.documentElement).backgroundColor;";
    assert_eq!(eyes.ask(ground), json!("rgb(255, 255, 255)"));
    eyes.expect_none(
        "on paper",
        "return [...document.querySelectorAll('#tools, .skip, .clip summary, .clip.ready details')].filter((e) => e.getClientRects().length).map((e) => e.outerHTML.slice(0, 60));",
    );
    assert_eq!(
        eyes.ask("return document.querySelectorAll('.clip.eye .evidence').length > 0 && [...document.querySelectorAll('.clip.eye .evidence')].every((e) => e.getClientRects().length);"),
        json!(true)
    );
    eyes.expect_none("on paper: reaches beyond the sheet", TOO_WIDE);
    eyes.expect_none("on paper: overlaps", OVERLAPPING);
    let pdf = eyes.pdf();
    assert!(pdf.starts_with(b"%PDF-"));
    if let Some(folder) = std::env::var_os("ROLLMARK_PICTURES") {
        std::fs::write(std::path::Path::new(&folder).join("night.pdf"), &pdf)
            .expect("a PDF file kept");
    }
    let pages = pdf
        .windows(11)
        .filter(|w| w.starts_with(b"/Type /Page") && w.len() == 11)
        .count()
        - pdf.windows(12).filter(|w| w == b"/Type /Pages").count();
    assert!((2..=8).contains(&pages), "{pages} pages for 24 clips");
}

#[test]
fn complete_without_a_script() {
    let desk = Desk::night();
    let eyes = Eyes::on(
        &page(&desk),
        Screen {
            has_script: false,
            ..Screen::wide(1280)
        },
    );
    let text = eyes.ask("return document.body.innerText;");
    let text = text.as_str().unwrap();
    for clip in &desk.card.clips {
        let file = clip.name.rsplit('/').next().unwrap();
        assert!(text.contains(file), "{file}");
        if let Some(start) = &clip.outcome.start {
            assert!(text.contains(&start.label), "{}", start.label);
        }
        for reason in &clip.outcome.reasons {
            assert!(text.contains(&reason.sentence[1..]), "{}", reason.sentence);
        }
    }
    assert_eq!(
        eyes.ask("return document.getElementById('tools').offsetParent === null;"),
        json!(true),
        "controls that nothing serves"
    );
}

#[test]
fn names_and_remarks_are_never_more_than_text() {
    let desk = Desk::hostile();
    let eyes = Eyes::on(&page(&desk), Screen::wide(1600));
    eyes.ask("for (const d of document.querySelectorAll('details')) d.open = true; return 1;");
    eyes.keep_picture("hostile", true);
    assert_eq!(
        eyes.ask("return window.hit ?? 'untouched';"),
        json!("untouched")
    );
    eyes.expect_none(
        "handlers of events",
        "return [...document.querySelectorAll('*')].flatMap((e) => [...e.attributes]).filter((a) => a.name.startsWith('on')).map((a) => a.name);",
    );
    eyes.expect_none(
        "links that lead elsewhere",
        "return [...document.querySelectorAll('[href]')].map((e) => e.getAttribute('href')).filter((h) => !/^(#[a-z0-9-]+|\\.\\/[^:]*)$/.test(h));",
    );
    eyes.expect_none(
        "pictures that are none",
        "return [...document.images].filter((i) => !i.src.startsWith('data:image/png;base64,iVBORw0KGg')).map((i) => i.src);",
    );
    assert_eq!(eyes.ask("return document.scripts.length;"), json!(1));
    assert_eq!(
        eyes.ask("return document.querySelectorAll('article.clip').length;"),
        json!(desk.card.clips.len())
    );
    // What was tried stands on the page, to be read.
    let text = eyes.ask("return document.body.innerText;");
    assert!(
        text.as_str()
            .unwrap()
            .contains("<script>window.hit=1</script>")
    );
    assert_eq!(
        eyes.ask("return performance.getEntriesByType('resource').filter((r) => !r.name.startsWith('data:')).length;"),
        json!(0),
        "something was fetched"
    );
    for width_px in [1600, 390] {
        eyes.set_width(width_px);
        assert_lies_right(&eyes, &format!("hostile, {width_px} px"));
    }
    assert_eq!(eyes.complaints(), [""; 0]);
}

#[test]
fn fit_for_keyboards_and_screen_readers() {
    let eyes = Eyes::on(&page(&Desk::night()), Screen::wide(1280));
    for (what, script) in [
        (
            "landmarks",
            "return ['header', 'main', 'footer', 'form[role=search]', 'html[lang]', 'title'].filter((s) => document.querySelectorAll(s).length !== 1);",
        ),
        (
            "ids that stand twice",
            "const ids = [...document.querySelectorAll('[id]')].map((e) => e.id); return ids.filter((id, at) => ids.indexOf(id) !== at);",
        ),
        (
            "labels that point nowhere",
            "return [...document.querySelectorAll('[aria-labelledby]')].map((e) => e.getAttribute('aria-labelledby')).filter((id) => !document.getElementById(id)?.textContent.trim());",
        ),
        (
            "links to nowhere on the page",
            "return [...document.querySelectorAll('a[href^=\"#\"], use')].map((e) => e.getAttribute('href')).filter((h) => !document.querySelector(h));",
        ),
        (
            "headings that skip a level",
            "let before = 0; return [...document.querySelectorAll('h1, h2, h3, h4')].filter((h) => { const level = +h.tagName[1]; const skips = level > before + 1; before = level; return skips; }).map((h) => h.textContent);",
        ),
        (
            "controls without a name",
            "return [...document.querySelectorAll('a, button, input, select, summary, img, svg[role=img]')].filter((e) => !(e.textContent.trim() || e.getAttribute('aria-label') || e.alt || e.labels?.length)).map((e) => e.outerHTML.slice(0, 80));",
        ),
        (
            "drawings that are read out by accident",
            "return [...document.querySelectorAll('svg')].filter((s) => !(s.getAttribute('aria-hidden') === 'true' || s.getAttribute('role') === 'img')).map((s) => s.outerHTML.slice(0, 80));",
        ),
        (
            "targets below 24 px (WCAG 2.2, success criterion 2.5.8), bars and links in text aside",
            "return [...document.querySelectorAll('button, input, select, summary')].filter((e) => e.offsetParent && (e.closest('label') ?? e).getBoundingClientRect().height < 23.9).map((e) => e.outerHTML.slice(0, 80));",
        ),
    ] {
        eyes.expect_none(what, script);
    }
    // Tab goes to the skip link first, which then shows.
    eyes.press("Tab");
    assert_eq!(
        eyes.ask("const e = document.activeElement; return [e.className, e.getBoundingClientRect().top >= 0];"),
        json!(["skip", true])
    );
    // Each pile's sign differs in shape, not in colour alone, and so does each bar.
    assert_eq!(
        eyes.ask(
            "return new Set([...document.querySelectorAll('symbol')].map((s) => s.innerHTML)).size;"
        ),
        json!(3)
    );
    assert_eq!(
        eyes.ask("return new Set(['ready', 'eye', 'estimate'].map((k) => { const s = getComputedStyle(document.querySelector(`.bar.${k}`)); return s.borderStyle + (s.backgroundImage !== 'none'); })).size;"),
        json!(3)
    );
}
