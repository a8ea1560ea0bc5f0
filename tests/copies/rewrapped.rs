//! Other containers: the same pictures and sound in a new MOV or MP4.

use super::boxes::Movie;
use super::clips::Workshop;
use super::{H264, SOURCE, copy, is_equal, second, ten_hours};
use rollmark::media::{self, CopyWay};
use rollmark::progress::Deaf;
use std::path::Path;

/// Name, codecs, extension of the copy.
const KINDS: [(&str, &str, &str); 12] = [
    ("camera.mts", "-c:a ac3", "mov"),
    ("stream.ts", "-c:a aac -output_ts_offset 5000", "mov"),
    ("open_gop.ts", "-x264-params open-gop=1 -c:a aac", "mov"),
    (
        "fields.mts",
        "-c:v mpeg2video -b:v 4M -bf 2 -g 12 -flags +ildct+ilme -top 1 -c:a mp2",
        "mov",
    ),
    (
        "ten_bit_stream.ts",
        "-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p10le -c:a aac",
        "mov",
    ),
    ("recorder.mkv", "-c:a aac", "mov"),
    (
        "ten_bit.mkv",
        "-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p10le -c:a aac",
        "mov",
    ),
    (
        "mezzanine.mkv",
        "-c:v prores_ks -bf 0 -pix_fmt yuv422p10le -c:a pcm_s24le",
        "mov",
    ),
    (
        "free.webm",
        "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -b:v 200k -c:a libopus",
        "mp4",
    ),
    (
        "old.avi",
        "-c:v mjpeg -bf 0 -pix_fmt yuvj420p -q:v 3 -c:a pcm_s16le",
        "mov",
    ),
    (
        "fragments.mp4",
        "-movflags frag_keyframe+empty_moov -c:a aac -timecode 07:00:00:00",
        "mp4",
    ),
    (
        "pieces.mov",
        "-movflags frag_keyframe+empty_moov+default_base_moof -c:a aac",
        "mov",
    ),
];

#[test]
fn pictures_sound_and_times_are_the_same_in_the_new_container() {
    let shop = Workshop::new();
    for (name, encode, kind) in KINDS {
        let clip = shop.make(name, SOURCE, &format!("{H264} {encode}"));
        let (file, report) = copy(&shop, &clip, &ten_hours());
        assert_eq!(report.way, CopyWay::Rewrapped);
        assert_eq!(file.extension().unwrap(), kind);
        assert!(report.streams.iter().all(is_equal));
        assert_eq!(report.streams.len(), 2, "{name}");
        second::assert_same(&second::pictures(&file), &second::pictures(&clip), &clip);
        // Transport streams and Matroska have coarser or finer ticks than the
        // second opinion prints.
        let pairs = second::times_us(&file)
            .into_iter()
            .zip(second::times_us(&clip));
        assert!(
            pairs.into_iter().all(|(new, old)| (new - old).abs() <= 1),
            "{name}"
        );
        assert_eq!(second::times_us(&file).len(), 50, "{name}");
        let starts = second::values(&file, "stream=start_time");
        assert_eq!(starts[0], "0.000000", "{name}: {starts:?}");

        let found = Movie::read(&file).timecode();
        assert_eq!(
            (found.count, found.base, found.frames),
            (900_000, 25, 50),
            "{name}"
        );
        assert_eq!(
            second::values(&file, "stream_tags=timecode"),
            ["10:00:00:00"; 2],
            "{name}"
        );
    }
}

/// Sound keeps its distance to the pictures: FFmpeg decodes both from the copy
/// and from the source, and what is heard with frame 0 is the same.
#[test]
fn sound_stays_beside_its_pictures() {
    let shop = Workshop::new();
    let late = "testsrc=s=64x64:r=25:d=2 -itsoffset 0.5 -f lavfi -i sine=d=2:r=48000";
    for (name, encode) in [("a.mkv", "-c:a pcm_s16le"), ("b.ts", "-c:a ac3")] {
        let clip = shop.make(name, late, &format!("{H264} {encode}"));
        let (file, _) = copy(&shop, &clip, &ten_hours());
        let distance = |file: &std::path::Path| -> f64 {
            let starts = second::values(file, "stream=start_time");
            starts[1].parse::<f64>().unwrap() - starts[0].parse::<f64>().unwrap()
        };
        let (old, new) = (distance(&clip), distance(&file));
        assert!(old > 0.4, "{name}: the sound is not late: {old}");
        // Matroska counts in milliseconds.
        assert!((old - new).abs() < 0.0011, "{name}: {old} became {new}");
    }
}

#[test]
fn tags_are_kept_or_named() {
    let shop = Workshop::new();
    let tags = "-metadata title=Bridge -metadata creation_time=2021-05-28T12:40:43Z \
                -metadata timecode=03:03:03:03 -metadata:s:a:0 language=ger";
    let clip = shop.make("a.mkv", SOURCE, &format!("{H264} {tags}"));
    let (file, report) = copy(&shop, &clip, &ten_hours());
    assert_eq!(second::values(&file, "format_tags=title"), ["Bridge"]);
    let created = second::values(&file, "format_tags=creation_time");
    assert_eq!(created, ["2021-05-28T12:40:43.000000Z"]);
    let languages = second::values(&file, "stream_tags=language");
    assert!(languages.contains(&"ger".to_owned()), "{languages:?}");
    assert!(second::values(&file, "format_tags=timecode").is_empty());
    assert!(
        !report
            .not_carried
            .iter()
            .any(|what| what.starts_with("tag ")),
        "{:?}",
        report.not_carried
    );
}

#[test]
fn subtitles_that_do_not_go_along_are_named() {
    let shop = Workshop::new();
    let text = shop.path("a.srt");
    std::fs::write(&text, "1\n00:00:00,000 --> 00:00:01,000\nslate\n").unwrap();
    let source = format!("{SOURCE} -i {}", text.display());
    let clip = shop.make(
        "a.mkv",
        &source,
        &format!("-map 0 -map 1 -map 2 {H264} -c:s ass"),
    );
    let (_, report) = copy(&shop, &clip, &ten_hours());
    assert_eq!(report.streams.len(), 2);
    assert!(
        report.not_carried.contains(&"subtitles (ass)".to_owned()),
        "{:?}",
        report.not_carried
    );
}

#[test]
fn attachments_and_tags_of_streams_are_named_with_what_they_belong_to() {
    let shop = Workshop::new();
    let font = shop.path("Sans.ttf");
    std::fs::write(&font, "no font").unwrap();
    let tags = format!(
        "-map 0 -map 1 -metadata:s:a:0 title=Boom -metadata:s:v:0 title=Wide \
         -metadata:s:a:0 VENDOR_ID=[0][0][0][0] -attach {} -metadata:s:t mimetype=font/ttf",
        font.display()
    );
    let clip = shop.make("a.mkv", SOURCE, &format!("{H264} -c:a aac {tags}"));
    let (_, report) = copy(&shop, &clip, &ten_hours());
    let named = report.not_carried.iter();
    let named: Vec<_> = named.filter(|what| *what != "colour range").collect();
    assert_eq!(
        named,
        [
            "attachment Sans.ttf",
            "tag title (Boom) of sound (aac)",
            "tag title (Wide) of pictures (h264)",
        ]
    );
}

#[test]
fn codecs_that_no_container_takes_are_refused_by_name() {
    let shop = Workshop::new();
    for (name, encode, what) in [
        (
            "a.webm",
            "-c:v libvpx -b:v 200k -c:a libvorbis",
            "its pictures (vp8)",
        ),
        (
            "a.mkv",
            "-c:v libx264 -pix_fmt yuv420p -c:a tta",
            "its sound (tta)",
        ),
    ] {
        let clip = shop.make(name, SOURCE, encode);
        let target = shop.path("copy.mov");
        let refusal =
            media::copy_with_timecode(&clip, &target, &ten_hours(), &mut Deaf).unwrap_err();
        assert!(refusal.what().starts_with(what), "{refusal}");
        assert!(refusal.advice().unwrap().contains("convert"), "{refusal}");
        assert_eq!(refusal.file(), Some(&*clip));
        assert!(!target.exists());
    }
}

/// Reordered pictures without times, as AVI holds H.264: their order of
/// presentation would be a guess.
#[test]
fn pictures_without_times_are_refused() {
    let shop = Workshop::new();
    let clip = shop.make("a.avi", SOURCE, &format!("{H264} -c:a pcm_s16le"));
    let refusal = refusal(&clip, &shop.path("copy.mov"));
    assert!(refusal.contains("no times of presentation"), "{refusal}");
}

/// Sound from a place in the middle on, for some seconds or up to the end, as where recordings
/// with and without were joined: a new container is told of its streams before all packets.
#[test]
fn sound_that_begins_late_is_neither_lost_nor_blamed_on_its_codec() {
    let shop = Workshop::new();
    // Filled up to a constant rate: FFmpeg looks into the first five megabytes and the last.
    let pictures = "-c:v libx264 -preset ultrafast -pix_fmt yuv420p -b:v 8M -minrate 8M \
                    -maxrate 8M -bufsize 8M -nal-hrd cbr -g 25 -muxdelay 0";
    let sound = "-f lavfi -i sine=d=7 -c:a aac";
    for (nth, sound) in ["", sound, ""].iter().enumerate() {
        let source = format!("testsrc=s=160x90:r=25:d=8 {sound}");
        let offset = format!("{pictures} -output_ts_offset {}", 8 * nth);
        shop.make(&format!("{nth}.ts"), &source, &offset);
    }
    let part = |nth: usize| std::fs::read(shop.path(&format!("{nth}.ts"))).unwrap();
    for parts in [&[0, 1][..], &[0, 1, 2]] {
        let clip = shop.path("joined.ts");
        let bytes: Vec<u8> = parts.iter().flat_map(|nth| part(*nth)).collect();
        std::fs::write(&clip, bytes).unwrap();
        let refusal = refusal(&clip, &shop.path("joined.ts.mov"));
        assert!(
            refusal.contains("sound (aac) begins so late"),
            "{parts:?}: {refusal}"
        );
    }
}

fn refusal(clip: &Path, target: &Path) -> String {
    let refusal = media::copy_with_timecode(clip, target, &ten_hours(), &mut Deaf).unwrap_err();
    assert!(!target.exists());
    refusal.what().to_owned()
}
