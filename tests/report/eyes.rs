//! A real browser to look at pages with: Chromium without a window, driven over its
//! DevTools protocol.

use headless_chrome::protocol::cdp::types::Event;
use headless_chrome::protocol::cdp::{Emulation, Page};
use headless_chrome::{Browser, LaunchOptions, Tab};
use serde_json::Value;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A page in a browser of its own, and every complaint that the browser had.
pub struct Eyes {
    // Closes the browser when dropped.
    _browser: Browser,
    tab: Arc<Tab>,
    complaints: Arc<Mutex<Vec<String>>>,
    _folder: tempfile::TempDir,
}

/// What a screen is like.
#[derive(Clone, Copy)]
pub struct Screen {
    pub width_px: u32,
    pub is_dark: bool,
    pub has_script: bool,
    /// Runs before the page does.
    pub before: &'static str,
}

impl Screen {
    pub const fn wide(width_px: u32) -> Self {
        Self {
            width_px,
            is_dark: false,
            has_script: true,
            before: "",
        }
    }
}

impl Eyes {
    /// Opens `html` from a file, as an editor does.
    pub fn on(html: &str, screen: Screen) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("report.html");
        std::fs::write(&file, html).expect("a page to look at");
        let browser = Browser::new(LaunchOptions {
            path: Some(chromium()),
            // As root, which builders often are, Chromium refuses to start with it.
            sandbox: false,
            window_size: Some((screen.width_px, 1000)),
            idle_browser_timeout: Duration::from_secs(300),
            ..LaunchOptions::default()
        })
        .expect("Chromium, from Debian's package of that name");
        let tab = browser.new_tab().expect("a tab");
        tab.set_default_timeout(Duration::from_secs(60));
        let complaints = Arc::new(Mutex::new(Vec::new()));
        tab.enable_log().expect("the browser's log");
        tab.enable_runtime().expect("the browser's console");
        let heard = Arc::clone(&complaints);
        tab.add_event_listener(Arc::new(move |event: &Event| {
            let complaint = match event {
                Event::LogEntryAdded(entry) => format!("{:?}", entry.params.entry),
                Event::RuntimeExceptionThrown(thrown) => format!("{:?}", thrown.params),
                Event::RuntimeConsoleAPICalled(call) => format!("{:?}", call.params),
                _ => return,
            };
            heard
                .lock()
                .expect("the list of complaints")
                .push(complaint);
        }))
        .expect("a listener");
        let eyes = Self {
            _browser: browser,
            tab,
            complaints,
            _folder: folder,
        };
        eyes.set_width(screen.width_px);
        eyes.set_dark(screen.is_dark);
        eyes.tab
            .call_method(Emulation::SetScriptExecutionDisabled {
                value: !screen.has_script,
            })
            .expect("a switch for scripts");
        eyes.tab
            .call_method(Page::AddScriptToEvaluateOnNewDocument {
                source: screen.before.to_owned(),
                world_name: None,
                include_command_line_api: None,
                run_immediately: None,
            })
            .expect("a script before the page's own");
        eyes.tab
            .navigate_to(&format!("file://{}", file.display()))
            .and_then(|tab| tab.wait_until_navigated())
            .expect("the page");
        eyes
    }

    pub fn set_width(&self, width_px: u32) {
        self.tab
            .call_method(Emulation::SetDeviceMetricsOverride {
                width: width_px,
                height: 1000,
                device_scale_factor: 1.0,
                mobile: width_px < 500,
                scale: None,
                screen_width: None,
                screen_height: None,
                position_x: None,
                position_y: None,
                dont_set_visible_size: None,
                screen_orientation: None,
                viewport: None,
                display_feature: None,
                device_posture: None,
            })
            .expect("a width");
    }

    pub fn set_dark(&self, is_dark: bool) {
        self.emulate("", is_dark);
    }

    /// As on paper, though the screen be dark.
    pub fn set_print(&self) {
        self.emulate("print", true);
    }

    fn emulate(&self, media: &str, is_dark: bool) {
        self.tab
            .call_method(Emulation::SetEmulatedMedia {
                media: Some(media.to_owned()),
                features: Some(vec![Emulation::MediaFeature {
                    name: "prefers-color-scheme".to_owned(),
                    value: if is_dark { "dark" } else { "light" }.to_owned(),
                }]),
            })
            .expect("a colour scheme");
    }

    /// What a script gives, as JSON.
    pub fn ask(&self, script: &str) -> Value {
        let answer = self
            .tab
            .evaluate(&format!("JSON.stringify((() => {{ {script} }})())"), false)
            .unwrap_or_else(|error| panic!("{error:?} in\n{script}"));
        match answer.value {
            Some(Value::String(text)) => serde_json::from_str(&text).expect("JSON"),
            _ => Value::Null,
        }
    }

    /// A list of faults that a script finds; it must be empty.
    pub fn expect_none(&self, what: &str, script: &str) {
        let found = self.ask(script);
        assert_eq!(found, Value::Array(Vec::new()), "{what}");
    }

    pub fn press(&self, key: &str) {
        self.tab.press_key(key).expect("a key");
    }

    pub fn type_text(&self, text: &str) {
        self.tab.type_str(text).expect("typing");
    }

    /// What the browser had to say; the page gives it no cause.
    pub fn complaints(&self) -> Vec<String> {
        self.complaints
            .lock()
            .expect("the list of complaints")
            .clone()
    }

    pub fn pdf(&self) -> Vec<u8> {
        self.tab.print_to_pdf(None).expect("a PDF file")
    }

    /// Keeps a picture of the page in the folder that `ROLLMARK_PICTURES` names, if it names one.
    pub fn keep_picture(&self, name: &str, whole: bool) {
        let Some(folder) = std::env::var_os("ROLLMARK_PICTURES") else {
            return;
        };
        let clip = whole.then(|| {
            let size = self
                .ask("const d = document.documentElement; return [d.scrollWidth, d.scrollHeight];");
            Page::Viewport {
                x: 0.0,
                y: 0.0,
                width: size[0].as_f64().expect("a width"),
                height: size[1].as_f64().expect("a height").min(9000.0),
                scale: 1.0,
            }
        });
        let png = self
            .tab
            .call_method(Page::CaptureScreenshot {
                format: Some(Page::CaptureScreenshotFormatOption::Png),
                quality: None,
                clip,
                from_surface: Some(true),
                capture_beyond_viewport: Some(whole),
                optimize_for_speed: None,
            })
            .expect("a picture")
            .data;
        use base64::Engine as _;
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(png)
            .expect("base64");
        std::fs::write(PathBuf::from(folder).join(format!("{name}.png")), bytes)
            .expect("a picture kept");
    }
}

/// `ROLLMARK_CHROMIUM`, or where Debian's package puts it.
fn chromium() -> PathBuf {
    std::env::var_os("ROLLMARK_CHROMIUM").map_or_else(|| "/usr/bin/chromium".into(), PathBuf::from)
}
