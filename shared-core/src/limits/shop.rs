//! A shop's own rows over the shipped table.
//!
//! In: a table and the shop's TOML, rows in the shape of the shipped files less the tag. Out: the
//! merged table, in which a shop's row goes before every shipped one and says "shop: …" as its
//! source; or the line that is wrong. Nothing is taken over from a file with a fault.

use toml::Spanned;

use super::rows::{File, Row, RowFault};
use super::table::LimitTable;

/// Why a shop's rows were not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ShopRowsRefused {
    /// Not TOML, or not the rows of a limit file.
    #[error("line {line}: {message}")]
    Unreadable {
        /// The line, from 1.
        line: usize,
        /// What the reader says.
        message: String,
    },
    /// A row that is none.
    #[error("line {line}: {table}: {fault}")]
    Row {
        /// The line its row begins at, from 1.
        line: usize,
        /// The kind of row.
        table: &'static str,
        /// What is wrong with it.
        fault: RowFault,
    },
    /// A tag or a list of unseen texts, which only shipped tables have.
    #[error("line {line}: {field} is for the tables that come with the program; leave it out")]
    NotTheShops {
        /// The line, from 1.
        line: usize,
        /// The field.
        field: &'static str,
    },
    /// Rows of another region.
    #[error("line {line}: these rows are for region {given:?}, the table is of {region:?}")]
    OtherRegion {
        /// The line, from 1.
        line: usize,
        /// The region the rows are for.
        given: String,
        /// The region of the table.
        region: String,
    },
    /// More text than a shop's rows can need.
    #[error("{bytes} bytes of rows; {max} is the most")]
    TooLong {
        /// How much was given.
        bytes: usize,
        /// How much is taken.
        max: usize,
    },
}

impl LimitTable {
    /// The most text taken as a shop's rows, in bytes.
    pub const SHOP_ROWS_MAX: usize = 256 * 1024;

    /// This table with a shop's own rows before its own.
    pub fn with_shop_rows(&self, text: &str) -> Result<Self, ShopRowsRefused> {
        if text.len() > Self::SHOP_ROWS_MAX {
            return Err(ShopRowsRefused::TooLong { bytes: text.len(), max: Self::SHOP_ROWS_MAX });
        }
        let file: File = toml::from_str(text).map_err(|error| ShopRowsRefused::Unreadable {
            line: error.span().map_or(1, |span| line(text, span.start)),
            message: error.message().to_owned(),
        })?;
        if let Some(given) = file.region.filter(|given| *given.get_ref() != self.region) {
            return Err(ShopRowsRefused::OtherRegion {
                line: line(text, given.span().start),
                given: given.into_inner(),
                region: self.region.clone(),
            });
        }
        if let Some(unseen) = file.unseen.first() {
            let line = line(text, unseen.span().start);
            return Err(ShopRowsRefused::NotTheShops { line, field: "unseen" });
        }
        Ok(Self {
            region: self.region.clone(),
            unseen: self.unseen.clone(),
            tolerances: before(
                "frequency_tolerance",
                text,
                file.frequency_tolerance,
                &self.tolerances,
            )?,
            notes: before("note", text, file.note, &self.notes)?,
            deviations: before("deviation", text, file.deviation, &self.deviations)?,
            bandwidths: before(
                "authorised_bandwidth",
                text,
                file.authorised_bandwidth,
                &self.bandwidths,
            )?,
            figures: before("figure", text, file.figure, &self.figures)?,
        })
    }
}

fn before<T: Row + Clone>(
    table: &'static str,
    text: &str,
    own: Vec<Spanned<T>>,
    shipped: &[T],
) -> Result<Vec<T>, ShopRowsRefused> {
    let mut rows = Vec::with_capacity(own.len() + shipped.len());
    for row in own {
        let line = line(text, row.span().start);
        let row = row.into_inner();
        row.check().map_err(|fault| ShopRowsRefused::Row { line, table, fault })?;
        if row.basis().2.is_some() {
            return Err(ShopRowsRefused::NotTheShops { line, field: "tag" });
        }
        rows.push(row);
    }
    rows.extend_from_slice(shipped);
    Ok(rows)
}

fn line(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|byte| *byte == b'\n').count() + 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::StationClass::{Base, Mobile};

    const OWN: &str = "region = \"us\"\n\n\
        [[frequency_tolerance]]\n\
        from_hz = 150_000_000\nto_hz = 174_000_000\nchannel_hz = 12_500\nbase_ppm = 4.0\n\
        source = \"licence of Owl Knob\"\ntext_date = \"2026-01-15\"\n\n\
        [[deviation]]\nchannel_hz = 30_000\ndeviation_max_hz = 6_000\n\
        source = \"shop rule 4\"\ntext_date = \"2025\"\n";

    fn us() -> &'static LimitTable {
        LimitTable::shipped("us").unwrap()
    }

    fn refused(text: &str) -> ShopRowsRefused {
        us().with_shop_rows(text).unwrap_err()
    }

    #[test]
    fn a_shops_row_goes_before_the_shipped_one_and_says_whose_it_is() {
        let merged = us().with_shop_rows(OWN).unwrap();
        let found = merged.frequency_tolerance(155_000_000, 12_500, Base).unwrap();
        // The shipped footnote says 2.5 ppm: a looser row of the shop still holds.
        assert!((found.value.ppm() - 4.0).abs() < 1e-12);
        assert_eq!(found.source, "shop: licence of Owl Knob, text of 2026-01-15");
        assert!(found.verified);
        let found = merged.deviation(30_000).unwrap();
        assert!((found.value - 6_000.0).abs() < 1e-9);
        // What the shop did not speak of is as shipped.
        for (hz, channel_hz, station) in
            [(155_000_000, 25_000, Base), (460_000_000, 12_500, Mobile)]
        {
            let (got, want) = (
                merged.frequency_tolerance(hz, channel_hz, station).unwrap(),
                us().frequency_tolerance(hz, channel_hz, station).unwrap(),
            );
            assert_eq!(got, want);
        }
        assert_eq!(us().with_shop_rows("").unwrap(), *us());
    }

    #[test]
    fn a_shops_row_over_a_shops_row_goes_before_it() {
        let once = us().with_shop_rows(OWN).unwrap();
        let twice = once.with_shop_rows(&OWN.replace("4.0", "3.0")).unwrap();
        let found = twice.frequency_tolerance(155_000_000, 12_500, Base).unwrap();
        assert!((found.value.ppm() - 3.0).abs() < 1e-12, "the tighter of two rows of the shop");
    }

    #[test]
    fn a_bad_row_is_refused_with_its_line() {
        let change = |from: &str, to: &str| {
            assert!(OWN.contains(from), "{from}");
            refused(&OWN.replace(from, to))
        };
        let row = |line, table, fault| ShopRowsRefused::Row { line, table, fault };
        assert_eq!(
            change("to_hz = 174_000_000", "to_hz = 150_000_000"),
            row(
                3,
                "frequency_tolerance",
                RowFault::EmptyBand { from_hz: 150_000_000, to_hz: 150_000_000 }
            )
        );
        assert_eq!(
            change("deviation_max_hz = 6_000", "deviation_max_hz = 30_000"),
            row(11, "deviation", RowFault::TooWide { deviation_hz: 30_000, channel_hz: 30_000 })
        );
        assert_eq!(
            change("base_ppm = 4.0", "base_ppm = -4.0").to_string(),
            "line 3: frequency_tolerance: frequency tolerance of -4 ppm is outside 0.000001 to \
             1000 ppm"
        );
        assert!(matches!(
            change("base_ppm = 4.0\n", ""),
            ShopRowsRefused::Row { line: 3, fault: RowFault::NoLimit, .. }
        ));
        assert!(matches!(
            change("base_ppm = 4.0", "base_ppm = 4.0\nbase_hz = 600.0"),
            ShopRowsRefused::Row { line: 3, fault: RowFault::TwoUnits, .. }
        ));
        assert!(matches!(
            change("base_ppm = 4.0", "base_ppm = nan"),
            ShopRowsRefused::Row { line: 3, fault: RowFault::Number(_), .. }
        ));
        assert!(matches!(
            change("\"shop rule 4\"", "\" \""),
            ShopRowsRefused::Row { line: 11, fault: RowFault::Empty { field: "source" }, .. }
        ));
        assert!(matches!(
            change("channel_hz = 30_000", "channel_hz = 0"),
            ShopRowsRefused::Row { line: 11, fault: RowFault::Number(_), .. }
        ));
    }

    #[test]
    fn what_is_no_limit_file_is_refused_with_its_line() {
        let text = refused(&OWN.replace("base_ppm = 4.0", "bass_ppm = 4.0")).to_string();
        assert!(text.starts_with("line 7: ") && text.contains("bass_ppm"), "{text}");
        let text = refused("region = \"us\"\n[[deviation]\n").to_string();
        assert!(text.starts_with("line 2: "), "{text}");
        let other = refused(&OWN.replace("\"us\"", "\"eu\""));
        assert!(matches!(other, ShopRowsRefused::OtherRegion { line: 1, .. }), "{other}");
        let tagged = refused(&OWN.replace("\"2025\"", "\"2025\"\ntag = \"seen\""));
        assert_eq!(tagged, ShopRowsRefused::NotTheShops { line: 11, field: "tag" });
        let unseen = "[[unseen]]\nquantity = \"a\"\nstandard = \"b\"\n";
        assert_eq!(refused(unseen), ShopRowsRefused::NotTheShops { line: 1, field: "unseen" });
        let long = "#".repeat(LimitTable::SHOP_ROWS_MAX + 1);
        assert!(matches!(refused(&long), ShopRowsRefused::TooLong { .. }));
    }

    #[test]
    fn a_note_is_of_a_band() {
        let row = "[[note]]\nfrom_hz = 1\nto_hz = 9\nstations = [\"base\"]\ntext = \"t\"\n\
                   source = \"s\"\ntext_date = \"d\"\n";
        assert!(us().with_shop_rows(row).is_ok());
        assert!(matches!(
            refused(&row.replace("to_hz = 9", "to_hz = 1")),
            ShopRowsRefused::Row { line: 1, fault: RowFault::EmptyBand { .. }, .. }
        ));
    }

    #[test]
    fn an_authorised_bandwidth_is_of_a_channel_or_of_an_emission() {
        let row = "[[authorised_bandwidth]]\nfrom_hz = 1\nto_hz = 9\nauthorised_hz = 5\n\
                   source = \"s\"\ntext_date = \"d\"\n";
        assert!(matches!(
            refused(row),
            ShopRowsRefused::Row { line: 1, fault: RowFault::ChannelOrEmission, .. }
        ));
        assert!(us().with_shop_rows(&format!("{row}channel_hz = 5\n")).is_ok());
        assert!(us().with_shop_rows(&format!("{row}emission = \"F3E\"\n")).is_ok());
        assert!(
            us().with_shop_rows(&format!("{row}channel_hz = 5\nemission = \"F3E\"\n")).is_err()
        );
    }

    #[test]
    fn a_figure_has_a_name_a_unit_and_a_limit_on_a_side_at_least() {
        let row = "[[figure]]\nquantity = \"q\"\nunit = \"dB\"\nat_least = 3.0\nsource = \"s\"\n\
                   text_date = \"d\"\n";
        assert!(us().with_shop_rows(row).is_ok());
        assert!(us().with_shop_rows(&format!("{row}at_most = 9.0\n")).is_ok());
        for (from, to, part) in [
            ("\"q\"", "\" \"", "quantity"),
            ("\"dB\"", "\"\"", "unit"),
            ("at_least = 3.0\n", "", "limit"),
            ("at_least = 3.0", "at_least = 1e300", "figure"),
            ("at_least = 3.0", "at_least = 3.0\nchannel_hz = 0", "channel width"),
        ] {
            let told = refused(&row.replace(from, to)).to_string();
            assert!(told.starts_with("line 1: figure: ") && told.contains(part), "{told}");
        }
    }

    #[test]
    fn as_much_text_as_is_taken_is_taken() {
        let most = "#".repeat(LimitTable::SHOP_ROWS_MAX);
        assert_eq!(us().with_shop_rows(&most).unwrap(), *us());
    }
}
