//! What `ffprobe` and `ffmpeg` say about a file: a second opinion on packets,
//! pictures and tags.

use std::path::Path;
use std::process::Command;

fn run(program: &str, words: &[&str], file: &Path) -> String {
    let mut command = Command::new(program);
    if program == "ffmpeg" {
        command
            .args(["-v", "error", "-nostdin", "-i"])
            .arg(file)
            .args(words);
    } else {
        command.args(["-v", "error"]).args(words).arg(file);
    }
    let output = command
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{program} {}: {said}",
        file.display()
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Every packet of every stream but timecode: stream, stamps, length, flags,
/// size, and a hash of its payload; by stream, in the file's order.
pub fn packets(file: &Path) -> Vec<String> {
    let entries = "packet=stream_index,pts,dts,duration,size,flags,data_hash";
    let words = [
        "-show_packets",
        "-show_data_hash",
        "sha256",
        "-show_entries",
        entries,
        "-of",
        "csv=p=0",
    ];
    let timecode = streams_with(file, "codec_tag_string=tmcd");
    let text = run("ffprobe", &words, file);
    let mut lines: Vec<(usize, String)> = text
        .lines()
        .filter_map(|line| Some((line.split(',').next()?.parse().ok()?, line.to_owned())))
        .filter(|(stream, _)| !timecode.contains(stream))
        .collect();
    lines.sort_by_key(|(stream, _)| *stream);
    lines.into_iter().map(|(_, line)| line).collect()
}

fn streams_with(file: &Path, line: &str) -> Vec<usize> {
    let text = run("ffprobe", &["-show_streams", "-of", "default"], file);
    let streams = text.split("[STREAM]").skip(1);
    streams
        .enumerate()
        .filter(|(_, text)| text.lines().any(|l| l == line))
        .map(|(at, _)| at)
        .collect()
}

/// Everything that ffprobe knows about the streams but timecode, and about the
/// file, line by line; without what a new track changes by itself.
pub fn description(file: &Path) -> Vec<String> {
    let text = run(
        "ffprobe",
        &["-show_streams", "-show_format", "-of", "default"],
        file,
    );
    let text = text.replace("[FORMAT]", "[STREAM]");
    let sections = text
        .split("[STREAM]")
        .filter(|s| !s.contains("codec_tag_string=tmcd"));
    let lines = sections.flat_map(|section| section.lines());
    lines
        .filter(|line| {
            let changed = [
                "TAG:timecode=",
                "size=",
                "bit_rate=",
                "nb_streams=",
                "filename=",
            ];
            !changed.iter().any(|start| line.starts_with(start))
        })
        .map(str::to_owned)
        .collect()
}

/// One value for each stream or packet that has it, in ffprobe's notation.
pub fn values(file: &Path, entries: &str) -> Vec<String> {
    let words = ["-show_entries", entries, "-of", "default=nw=1:nk=1"];
    let text = run("ffprobe", &words, file);
    text.lines().map(str::to_owned).collect()
}

/// Panics with the first line that differs, not with all of them.
pub fn assert_same(new: &[String], old: &[String], what: &Path) {
    let differing = new.iter().zip(old).find(|(new, old)| new != old);
    if let Some((new, old)) = differing {
        panic!("{}: `{old}` became `{new}`", what.display());
    }
    assert_eq!(new.len(), old.len(), "{}", what.display());
}

/// Hashes of the presented pictures, in order.
pub fn pictures(file: &Path) -> Vec<String> {
    let words = [
        "-map",
        "0:v:0",
        "-vsync",
        "passthrough",
        "-f",
        "framemd5",
        "-",
    ];
    let text = run("ffmpeg", &words, file);
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines
        .filter_map(|line| Some(line.rsplit(',').next()?.trim().to_owned()))
        .collect()
}

/// A hash of the decoded sound, all of it: also what an edit list or a codec's delay hides.
pub fn sound(file: &Path) -> String {
    let is_movie = file.extension().is_some_and(|e| e == "mov" || e == "mp4");
    let all: &[&str] = if is_movie {
        &["-ignore_editlist", "1"]
    } else {
        &[]
    };
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-nostdin", "-flags2", "+skip_manual"]);
    command.args(all).arg("-i").arg(file);
    command.args(["-map", "0:a:0", "-c:a", "pcm_s16le", "-f", "md5", "-"]);
    let output = command.output().unwrap_or_else(|e| panic!("ffmpeg: {e}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{}: {said}", file.display());
    let hash = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    // The hash of nothing.
    assert_ne!(
        hash,
        "MD5=d41d8cd98f00b204e9800998ecf8427e",
        "{}",
        file.display()
    );
    hash
}

/// Seconds after the first, of the presented pictures, rounded to microseconds.
pub fn times_us(file: &Path) -> Vec<i64> {
    let words = [
        "-select_streams",
        "v:0",
        "-show_frames",
        "-show_entries",
        "frame=pts_time",
        "-of",
        "csv=p=0",
    ];
    let text = run("ffprobe", &words, file);
    let seconds: Vec<f64> = text
        .lines()
        .filter_map(|line| line.split(',').next()?.parse().ok())
        .collect();
    seconds
        .iter()
        .map(|s| ((s - seconds[0]) * 1e6).round() as i64)
        .collect()
}
