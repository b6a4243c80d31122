//! The page as a browser lays it out, on a desk, on a phone and on paper.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use wearcast::report::html::page;

use super::fixture;

/// Measures a copy of the page from within and tells the page around it. Letters that only names of
/// the records have, of scripts with fonts of their own, are the reader's to have.
const MEASURE: &str = r"<script>
console.error('measured');
const wide = document.documentElement.clientWidth, found = [];
const scrolled = document.documentElement.scrollWidth;
if (wide < scrolled) found.push('the page is ' + scrolled + ' wide');
for (const e of document.querySelectorAll('body *:not(svg *)')) {
  const box = e.getBoundingClientRect(), table = e.closest('.table');
  // A table that is too wide scrolls within its own box; it counts once.
  if (table && e !== table) { if (e.tagName === 'TABLE' && table.clientWidth < table.scrollWidth) found.push('a table scrolls'); continue; }
  if (wide + 0.5 < box.right || box.left < -0.5) found.push('out of the page: ' + e.tagName + ' ' + e.textContent.slice(0, 40));
}
// Letters drawn small are rounded to pixels: 2 units of the picture are allowed.
let texts = 0;
for (const svg of document.querySelectorAll('svg')) {
  const [, , width, height] = svg.getAttribute('viewBox').split(' ').map(Number);
  const title = svg.querySelector('title').textContent;
  for (const e of svg.querySelectorAll('text')) {
    texts++;
    const box = e.getBBox();
    if (box.x < -2 || width + 2 < box.x + box.width || height + 2 < box.y + box.height)
      found.push('out of ' + title + ': ' + e.textContent.slice(0, 60) + ' at ' + [box.x, box.y, box.width, box.height].map(Math.round));
  }
}
const canvas = document.createElement('canvas');
canvas.width = canvas.height = 40;
const pen = canvas.getContext('2d', { willReadFrequently: true });
pen.font = '24px ' + getComputedStyle(document.body).fontFamily;
const drawn = c => { pen.clearRect(0, 0, 40, 40); pen.fillText(c, 4, 30); return pen.getImageData(0, 0, 40, 40).data.join(); };
const missing = drawn('\ue123');
const letters = new Set(document.body.textContent);
const ofData = c => 0x2e80 <= c.codePointAt(0) && c.codePointAt(0) < 0xe000;
for (const c of letters) if (c.trim() && !ofData(c) && drawn(c) === missing) found.push('no glyph for ' + c.codePointAt(0).toString(16));
parent.postMessage('measured ' + wide + ' wide, ' + texts + ' texts, ' + letters.size + ' letters; ' + found.length + ' found: ' + found.slice(0, 20).join(' | '), '*');
</script>";

#[test]
fn no_page_is_wider_than_a_desk_or_a_phone_and_no_letter_is_missing() {
    let Some(browser) = browser() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, report) in super::all() {
        let text = page(&report).replace("</body>", &format!("{MEASURE}</body>"));
        fs::write(folder.path().join("inner.html"), text).expect("a file");
        for width in [360, 1280] {
            let told = measured(&browser, folder.path(), width);
            let clean = format!("measured {width} wide, ");
            assert!(told.starts_with(&clean), "{name}: {told}");
            // Names and a currency that no fleet has may make a table scroll within its own box.
            let told = if name == "hostile" {
                told.replace("1 found: a table scrolls", "0 found: ")
            } else {
                told
            };
            assert!(told.contains("; 0 found: "), "{name} at {width}: {told}");
        }
    }
}

/// What is wrong on purpose is found, so that the other tests mean something.
#[test]
fn a_page_that_is_too_wide_or_lacks_a_letter_is_found() {
    let Some(browser) = browser() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let wrong = "<p style='width:500px'>\u{e124}</p>";
    let text = page(&fixture::usual()).replace("</body>", &format!("{wrong}{MEASURE}</body>"));
    fs::write(folder.path().join("inner.html"), text).expect("a file");
    let told = measured(&browser, folder.path(), 360);
    assert!(
        told.contains("the page is ") && told.contains("no glyph for e124"),
        "{told}"
    );
}

/// Lays the page out at a width; what it tells of itself. Its console must say nothing else.
fn measured(browser: &Path, folder: &Path, width: u32) -> String {
    let outer = format!(
        "<!DOCTYPE html><body style='margin:0'><iframe src='inner.html' style='border:0;width:{width}px;height:90000px'></iframe>\
         <p id='told'></p><script>onmessage = m => document.getElementById('told').textContent = m.data</script></body>"
    );
    let file = folder.join("outer.html");
    fs::write(&file, outer).expect("a file");
    let url = format!("file://{}", file.display());
    let args = [
        "--dump-dom",
        "--virtual-time-budget=10000",
        "--window-size=1400,1000",
        &url,
    ];
    let (out, err) = run(browser, folder, &args);
    let console: Vec<&str> = err.lines().filter(|l| l.contains("CONSOLE")).collect();
    assert!(
        console.len() == 1 && console[0].contains("measured"),
        "on the console: {console:?}\n{err}"
    );
    let told = out.split("<p id=\"told\">").nth(1).unwrap_or("");
    told.split("</p>").next().unwrap_or("").to_owned()
}

#[test]
fn the_page_prints() {
    let Some(browser) = browser() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (html, pdf) = (
        folder.path().join("page.html"),
        folder.path().join("page.pdf"),
    );
    fs::write(&html, page(&fixture::usual())).expect("a file");
    let (to, url) = (
        format!("--print-to-pdf={}", pdf.display()),
        format!("file://{}", html.display()),
    );
    run(
        &browser,
        folder.path(),
        &["--no-pdf-header-footer", &to, &url],
    );
    let bytes = fs::read(&pdf).expect("a printed page");
    assert!(bytes.starts_with(b"%PDF"));
    let leaf = b"/Type /Page\n";
    let leaves = bytes.windows(leaf.len()).filter(|w| w == leaf).count();
    assert!((3..=25).contains(&leaves), "{leaves} sheets of paper");
}

/// A browser without a screen, where one is installed.
#[expect(
    clippy::print_stderr,
    reason = "a skipped test must say that it was skipped"
)]
fn browser() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let found = std::env::split_paths(&path)
        .flat_map(|folder| ["chromium", "chromium-browser"].map(|name| folder.join(name)))
        .find(|file| file.is_file());
    if found.is_none() {
        eprintln!("skipped: no `chromium` on PATH, the page was not laid out");
    }
    found
}

/// Standard output and standard error.
fn run(browser: &Path, folder: &Path, args: &[&str]) -> (String, String) {
    let (out, err) = (folder.join("out.txt"), folder.join("err.txt"));
    let to = |path: &Path| Stdio::from(fs::File::create(path).expect("a file"));
    let mut child = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--enable-logging=stderr",
        ])
        .arg(format!(
            "--user-data-dir={}",
            folder.join("profile").display()
        ))
        .args(args)
        .stdout(to(&out))
        .stderr(to(&err))
        .spawn()
        .expect("the browser starts");
    let begun = Instant::now();
    while child.try_wait().expect("the browser's status").is_none() {
        if begun.elapsed() > Duration::from_mins(2) {
            child.kill().expect("the browser can be stopped");
            panic!("the browser took more than two minutes");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let text = |path: &Path| fs::read_to_string(path).expect("what the browser said");
    (text(&out), text(&err))
}
