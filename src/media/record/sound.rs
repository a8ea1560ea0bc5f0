//! A soft tone beside the pictures.

use ffmpeg_next::{
    self as ffmpeg, ChannelLayout, Error, Packet, Rational, codec, encoder, format::Sample,
    format::context::Output, format::sample, frame,
};

const RATE_HZ: i32 = 48_000;
const TONE_HZ: i64 = 440;
/// About -40 dB below full scale: audible, never in the way.
const LOUDNESS: f64 = 0.01;
/// Samples of a packet where the encoder leaves it to us.
const FRAME_SAMPLES: usize = 1920;

/// The sound stream of a recording.
pub(super) struct Sound {
    encoder: encoder::audio::Encoder,
    stream: usize,
    format: Sample,
    frame_samples: usize,
    /// Samples written so far.
    written: i64,
}

impl Sound {
    pub(super) fn add_to(
        output: &mut Output,
        encoder_name: &str,
        wants_headers: bool,
    ) -> Result<Self, Error> {
        let codec = encoder::find_by_name(encoder_name).ok_or(Error::EncoderNotFound)?;
        let format = match encoder_name {
            "aac" => Sample::F32(sample::Type::Planar),
            _ => Sample::I16(sample::Type::Packed),
        };
        let mut audio = codec::Context::new_with_codec(codec).encoder().audio()?;
        audio.set_rate(RATE_HZ);
        audio.set_format(format);
        audio.set_channel_layout(ChannelLayout::MONO);
        audio.set_bit_rate(96_000);
        audio.set_time_base(Rational::new(1, RATE_HZ));
        if wants_headers {
            audio.set_flags(codec::Flags::GLOBAL_HEADER);
        }
        let encoder = audio.open_as(codec)?;
        let mut stream = output.add_stream_with(&encoder.0)?;
        stream.set_time_base(Rational::new(1, RATE_HZ));
        let stream = stream.index();
        let frame_samples = match encoder.frame_size() {
            0 => FRAME_SAMPLES,
            fixed => fixed as usize,
        };
        Ok(Self {
            encoder,
            stream,
            format,
            frame_samples,
            written: 0,
        })
    }

    /// Writes whole packets up to a time of `num / den` seconds.
    pub(super) fn write_until(
        &mut self,
        output: &mut Output,
        (num, den): (i128, i128),
    ) -> Result<(), Error> {
        while i128::from(self.written) * den < num * i128::from(RATE_HZ) {
            let mut frame = frame::Audio::new(self.format, self.frame_samples, ChannelLayout::MONO);
            frame.set_rate(RATE_HZ as u32);
            frame.set_pts(Some(self.written));
            let start = self.written;
            let tone = |n: usize| {
                // Whole turns drop out, so that the phase stays exact for hours.
                let turns = (start + n as i64) * TONE_HZ % i64::from(RATE_HZ);
                let angle = std::f64::consts::TAU * turns as f64 / f64::from(RATE_HZ);
                angle.sin() * LOUDNESS
            };
            match self.format {
                Sample::F32(_) => {
                    for (n, sample) in frame.plane_mut::<f32>(0).iter_mut().enumerate() {
                        *sample = tone(n) as f32;
                    }
                }
                _ => {
                    for (n, sample) in frame.plane_mut::<i16>(0).iter_mut().enumerate() {
                        *sample = (tone(n) * f64::from(i16::MAX)) as i16;
                    }
                }
            }
            self.encoder.send_frame(&frame)?;
            self.written += self.frame_samples as i64;
            self.pass_packets(output)?;
        }
        Ok(())
    }

    pub(super) fn finish(&mut self, output: &mut Output) -> Result<(), Error> {
        self.encoder.send_eof()?;
        self.pass_packets(output)
    }

    fn pass_packets(&mut self, output: &mut Output) -> Result<(), Error> {
        let time_base = output
            .stream(self.stream)
            .map_or(Rational::new(1, RATE_HZ), |stream| stream.time_base());
        let mut packet = Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            packet.set_stream(self.stream);
            packet.rescale_ts(Rational::new(1, RATE_HZ), time_base);
            packet.write_interleaved(output)?;
        }
        Ok::<(), ffmpeg::Error>(())
    }
}
