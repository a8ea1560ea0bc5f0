//! Descriptions of the pictures for the decoder that come with packets: QuickTime and MP4 files
//! may have several, as where clips were joined as they are.

use super::Source;
use ffmpeg_next::packet::{Mut, Ref};
use ffmpeg_next::{Packet, ffi};

const DESCRIPTION: ffi::AVPacketSideDataType = ffi::AVPacketSideDataType::AV_PKT_DATA_NEW_EXTRADATA;

/// The description that comes with a packet.
fn description_of(packet: &Packet) -> Option<&[u8]> {
    let mut len = 0;
    // SAFETY: FFmpeg gives none, or as many bytes as it says, which live as long as the packet.
    unsafe {
        let bytes = ffi::av_packet_get_side_data(packet.as_ptr(), DESCRIPTION, &mut len);
        (!bytes.is_null()).then(|| std::slice::from_raw_parts(bytes, len))
    }
}

impl Source {
    /// FFmpeg gives a description once, with the first packet that it holds for, be that one
    /// passed over or not. Here it comes with every key frame, where decoding may begin.
    pub(super) fn describe(&mut self, packet: &mut Packet) {
        if let Some(new) = description_of(packet) {
            self.description = Some(new.to_vec());
        } else if let Some(known) = self.description.as_ref().filter(|_| packet.is_key()) {
            // SAFETY: the packet is ours alone; FFmpeg gives as many bytes as asked for, or none.
            unsafe {
                let bytes =
                    ffi::av_packet_new_side_data(packet.as_mut_ptr(), DESCRIPTION, known.len());
                if !bytes.is_null() {
                    std::ptr::copy_nonoverlapping(known.as_ptr(), bytes, known.len());
                }
            }
        }
    }
}
