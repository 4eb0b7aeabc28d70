//! Pictures of a grid, as PNG: a byte a place, and a palette that says what the bytes look like.

use crate::look::base64;

/// A colour with its opacity.
pub type Colour = [u8; 4];

/// A picture in at most 256 colours.
pub struct Picture {
    /// Places from west to east.
    pub columns: usize,
    /// The number of the colour of each place, by rows from the north.
    pub places: Vec<u8>,
    /// What the numbers look like.
    pub palette: Vec<Colour>,
}

impl Picture {
    /// The bytes of a PNG file.
    pub fn png(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let rows = self.places.len() / self.columns.max(1);
        let side = |count: usize| u32::try_from(count).expect("a map has fewer than four billion columns");
        let mut encoder = png::Encoder::new(&mut bytes, side(self.columns), side(rows));
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::High);
        // Numbers of colours that are in order differ little from their neighbours, and differences pack well.
        encoder.set_filter(png::Filter::Adaptive);
        encoder.set_palette(self.palette.iter().flat_map(|[r, g, b, _]| [*r, *g, *b]).collect::<Vec<_>>());
        encoder.set_trns(self.palette.iter().map(|[.., opacity]| *opacity).collect::<Vec<_>>());
        encoder
            .add_text_chunk("Software".to_owned(), "overwinter".to_owned())
            .expect("the keyword is one of the standard's");
        let mut writer = encoder.write_header().expect("a string of bytes takes all bytes");
        writer.write_image_data(&self.places).expect("there is a byte for each place");
        writer.finish().expect("a string of bytes takes all bytes");
        bytes
    }

    /// The address of the picture within a drawing.
    pub fn address(&self) -> String {
        format!("data:image/png;base64,{}", base64(&self.png()))
    }
}

/// One colour laid over another that is opaque.
pub fn over([red, green, blue, opacity]: Colour, under: Colour) -> Colour {
    let mix = |upper: u8, lower: u8| {
        let sum = u32::from(upper) * u32::from(opacity) + u32::from(lower) * (255 - u32::from(opacity));
        u8::try_from((sum + 127) / 255).unwrap_or(u8::MAX)
    };
    [mix(red, under[0]), mix(green, under[1]), mix(blue, under[2]), 255]
}

#[cfg(test)]
mod tests {
    use super::{Picture, over};

    /// Read back by the same crate's decoder, with colours and opacities spelled out.
    #[test]
    fn a_picture_is_read_back_place_by_place() {
        let palette = vec![[0, 0, 0, 0], [10, 20, 30, 255], [200, 100, 50, 128]];
        let picture = Picture { columns: 3, places: vec![0, 1, 2, 2, 1, 0], palette };
        let bytes = picture.png();
        let mut decoder = png::Decoder::new(std::io::Cursor::new(&bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a PNG");
        let mut read = vec![0; reader.output_buffer_size().expect("small")];
        let info = reader.next_frame(&mut read).expect("a frame");
        assert_eq!((info.width, info.height, info.color_type), (3, 2, png::ColorType::Rgba));
        let expected = [[0, 0, 0, 0], [10, 20, 30, 255], [200, 100, 50, 128]];
        let both: Vec<u8> = expected.iter().chain(expected.iter().rev()).flatten().copied().collect();
        assert_eq!(read, both);
        assert!(picture.address().starts_with("data:image/png;base64,iVBORw0KGgo"));
    }

    #[test]
    fn opaque_covers_and_clear_shows_what_is_below() {
        assert_eq!(over([1, 2, 3, 255], [9, 9, 9, 255]), [1, 2, 3, 255]);
        assert_eq!(over([1, 2, 3, 0], [9, 9, 9, 255]), [9, 9, 9, 255]);
        assert_eq!(over([0, 0, 0, 128], [255, 255, 255, 255]), [127, 127, 127, 255]);
    }
}
