//! Reads a photo: JPEG or PNG, turned as its EXIF says, within limits.

use crate::fault::Fault;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};
use std::io::Cursor;

/// Most pixels of a photo: 64 million.
pub const MOST_PIXELS: u64 = 64_000_000;
/// Most bytes of a photo's file.
pub const MOST_BYTES: u64 = 64 << 20;
/// Most memory that decoding may take, bytes: seven bytes a pixel of the largest photo, with
/// opacity in the file and without it afterwards.
const MOST_MEMORY: u64 = 7 * MOST_PIXELS;
/// Least side of a photo, pixels.
const LEAST_SIDE: u32 = 400;

/// Reads a photo.
///
/// # Errors
/// A format that is not read, a damaged or too large file, and what to do.
pub fn read_photo(bytes: &[u8]) -> Result<RgbImage, Fault> {
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Fault::new(
            said!("the photo's file has more than {} MB", MOST_BYTES >> 20),
            "save it as JPEG",
        ));
    }
    let format = format_of(bytes)?;
    let damaged = |e: image::ImageError| match e {
        image::ImageError::Limits(_) => too_large(),
        e => Fault::new(
            said!("the photo cannot be read: {e}"),
            "copy it again from the camera, or save it as JPEG in a photo program",
        ),
    };
    if format == ImageFormat::Jpeg && !ends(bytes) {
        return Err(Fault::new(
            "the photo is cut short: its end is missing",
            "copy it again from the camera",
        ));
    }
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(damaged)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(too_large());
    }
    if width.min(height) < LEAST_SIDE {
        let what = said!("the photo has only {width} × {height} pixels");
        return Err(Fault::new(what, "use the photo as the camera took it, not a small copy"));
    }
    let plain = 3 * u64::from(width) * u64::from(height);
    if decoder.total_bytes() > plain && decoder.total_bytes() + plain > MOST_MEMORY {
        let what = "the photo has very many pixels of 16 bits a channel";
        return Err(Fault::new(what, "save it as JPEG, or with 8 bits a channel"));
    }
    let orientation = decoder.orientation().map_err(damaged)?;
    let mut image =
        DynamicImage::ImageRgb8(DynamicImage::from_decoder(decoder).map_err(damaged)?.into_rgb8());
    image.apply_orientation(orientation);
    let photo = image.into_rgb8();
    let brightest = photo.iter().copied().max().unwrap_or(0);
    let spread = (0..3).map(|c| {
        let channel = || photo.iter().copied().skip(c).step_by(3);
        channel().max().unwrap_or(0) - channel().min().unwrap_or(0)
    });
    if spread.max().unwrap_or(0) < 20 {
        let what = if brightest < 40 {
            "the photo is all black"
        } else {
            "the photo shows nothing but one shade"
        };
        return Err(Fault::new(
            what,
            "take it again with more light and without covering the lens",
        ));
    }
    Ok(photo)
}

fn too_large() -> Fault {
    Fault::new(
        said!("the photo has more than {} million pixels", MOST_PIXELS / 1_000_000),
        "save it smaller: 12 million pixels are enough for a template of 1.2 m",
    )
}

/// The format by its first bytes; others are named so that the remedy fits.
fn format_of(bytes: &[u8]) -> Result<ImageFormat, Fault> {
    let has = |at: usize, what: &[u8]| bytes.get(at..at + what.len()) == Some(what);
    let named = |name: &str| {
        Err(Fault::new(
            said!("the file is {name}, which is not read"),
            "save the photo as JPEG or PNG",
        ))
    };
    if bytes.is_empty() {
        return Err(Fault::new("the file is empty", "copy the photo again from the camera"));
    }
    if has(0, &[0xff, 0xd8, 0xff]) {
        return Ok(ImageFormat::Jpeg);
    }
    if has(0, b"\x89PNG\r\n\x1a\n") {
        // The chunk that makes a PNG move stands before its picture.
        let head = bytes.get(..4096.min(bytes.len())).unwrap_or(bytes);
        if head.windows(4).any(|w| w == b"acTL") {
            return Err(Fault::new(
                "the file is an animated PNG",
                "save the one picture that shows the template as JPEG or PNG",
            ));
        }
        return Ok(ImageFormat::Png);
    }
    if has(4, b"ftyp") {
        let brand = bytes.get(8..12).unwrap_or(b"");
        if [b"heic", b"heix", b"heim", b"heis", b"heif", b"mif1", b"hevc", b"hevx", b"msf1"]
            .iter()
            .any(|b| brand == *b)
        {
            return Err(Fault::new(
                "the file is a HEIC photo, which is not read",
                "set the phone's camera to JPEG (often called \"most compatible\"); one that is taken: share it from the phone as JPEG, or open it on a \
                 computer and export it as JPEG",
            ));
        }
        return if brand == b"avif" { named("an AVIF picture") } else { named("a film") };
    }
    if has(0, b"GIF8") {
        return named("a GIF picture, perhaps animated");
    }
    if has(0, b"RIFF") && has(8, b"WEBP") {
        return named("a WebP picture");
    }
    if has(0, b"II*\0") || has(0, b"MM\0*") {
        return named("a TIFF picture or a raw photo");
    }
    if has(0, b"%PDF") {
        return named("a PDF document");
    }
    Err(Fault::new(
        "the file is not a photo of a known kind",
        "name a JPEG or PNG photo of the template",
    ))
}

/// True if a JPEG has its end marker; cameras may put things of their own behind it.
fn ends(bytes: &[u8]) -> bool {
    bytes.windows(2).rev().any(|w| w == [0xff, 0xd9])
        && bytes.windows(2).rposition(|w| w == [0xff, 0xd9])
            > bytes.windows(2).rposition(|w| w == [0xff, 0xda])
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use image::{GrayImage, Luma, Rgb};

    fn encoded(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        image.write_to(&mut out, format).unwrap();
        out.into_inner()
    }

    fn grey() -> GrayImage {
        GrayImage::from_fn(640, 480, |x, y| Luma([((x + y) % 256) as u8]))
    }

    fn refused(bytes: &[u8], what: &str) {
        let fault = read_photo(bytes).unwrap_err();
        assert!(fault.what.contains(what) && !fault.remedy.is_empty(), "{fault}");
    }

    #[test]
    fn grey_colour_and_deep_pictures_are_read() {
        let deep = DynamicImage::ImageLuma16(image::ImageBuffer::from_fn(640, 480, |x, y| {
            Luma([((x + y) % 256) as u16 * 257])
        }));
        let colour = DynamicImage::ImageRgb8(image::ImageBuffer::from_fn(640, 480, |x, y| {
            Rgb([((x + y) % 256) as u8; 3])
        }));
        for image in [DynamicImage::ImageLuma8(grey()), deep, colour] {
            let read = read_photo(&encoded(&image, ImageFormat::Png)).unwrap();
            assert_eq!(read.dimensions(), (640, 480));
            assert!(
                read.pixels()
                    .zip(grey().iter())
                    .all(|(a, b)| a.0.iter().all(|v| v.abs_diff(*b) <= 1))
            );
        }
        assert!(read_photo(&encoded(&DynamicImage::ImageLuma8(grey()), ImageFormat::Jpeg)).is_ok());
    }

    #[test]
    fn what_is_no_photo_is_named() {
        refused(b"", "empty");
        refused(b"hello there, this is text", "not a photo");
        refused(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC");
        refused(b"GIF89a...........", "GIF");
        refused(b"RIFF\0\0\0\0WEBPVP8 ", "WebP");
        refused(b"II*\0........", "TIFF");
    }

    #[test]
    fn damaged_and_useless_photos_are_refused() {
        let jpeg = encoded(&DynamicImage::ImageLuma8(grey()), ImageFormat::Jpeg);
        refused(&jpeg[..jpeg.len() / 2], "cut short");
        let png = encoded(&DynamicImage::ImageLuma8(grey()), ImageFormat::Png);
        refused(&png[..png.len() / 2], "cannot be read");
        refused(
            &encoded(&DynamicImage::ImageLuma8(GrayImage::new(640, 480)), ImageFormat::Png),
            "all black",
        );
        refused(
            &encoded(
                &DynamicImage::ImageLuma8(GrayImage::from_pixel(640, 480, Luma([255]))),
                ImageFormat::Png,
            ),
            "one shade",
        );
        refused(
            &encoded(
                &DynamicImage::ImageLuma8(GrayImage::from_fn(64, 48, |x, _| Luma([x as u8 * 4]))),
                ImageFormat::Png,
            ),
            "only 64",
        );
    }

    #[test]
    fn a_huge_picture_is_refused_before_it_is_decoded() {
        // A header that claims 100 million pixels, with hardly a byte behind it.
        let mut png = encoded(&DynamicImage::ImageLuma8(grey()), ImageFormat::Png);
        let ihdr = png.windows(4).position(|w| w == b"IHDR").unwrap();
        png[ihdr + 4..ihdr + 12].copy_from_slice(&[0, 0, 0x27, 0x10, 0, 0, 0x27, 0x10]);
        let crc = crc32(&png[ihdr..ihdr + 17]);
        png[ihdr + 17..ihdr + 21].copy_from_slice(&crc.to_be_bytes());
        refused(&png, "million pixels");
    }

    fn crc32(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(!0u32, |crc, &b| {
            (0..8)
                .fold(crc ^ u32::from(b), |c, _| (c >> 1) ^ (0xedb8_8320 & (c & 1).wrapping_neg()))
        })
    }
}
