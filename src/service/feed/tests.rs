use super::*;
use proptest::prelude::*;

const PROVIDERS: [Provider; 5] = [
    Provider::NationalWeatherService,
    Provider::MetNorway,
    Provider::HourlyArrays,
    Provider::Csv,
    Provider::HandGivenLow,
];

const GOOD: [(&[u8], Provider); 4] = [
    (include_bytes!("../../../tests/feeds/nws_frost_night.json"), Provider::NationalWeatherService),
    (include_bytes!("../../../tests/feeds/met_norway_frost_night.json"), Provider::MetNorway),
    (include_bytes!("../../../tests/feeds/hourly_arrays_frost_night.json"), Provider::HourlyArrays),
    (include_bytes!("../../../tests/feeds/table_frost_night.csv"), Provider::Csv),
];

#[test]
fn each_document_is_recognised_by_its_structure_and_read_by_its_own_decoder_only() {
    for (body, provider) in &GOOD {
        assert_eq!(recognise(body).as_ref(), Some(provider));
        for reader in &PROVIDERS {
            let read = decode(reader, body, DateTime::UNIX_EPOCH);
            assert_eq!(read.is_ok(), reader == provider, "{provider:?} by {reader:?}: {read:?}");
        }
    }
    let refusal = include_bytes!("../../../tests/feeds/hourly_arrays_refused.json");
    assert_eq!(recognise(refusal), Some(Provider::HourlyArrays));
    for nothing in ["", "{}", "[]", "utc", "<html></html>", r#"{"properties": {"temperature": 3}}"#] {
        assert_eq!(recognise(nothing.as_bytes()), None, "{nothing}");
    }
}

#[test]
fn a_web_page_and_an_empty_answer_are_named_as_such() {
    let page = include_bytes!("../../../tests/feeds/page_in_place_of_a_forecast.html");
    for provider in &PROVIDERS[..4] {
        let Err(fault) = decode(provider, page, DateTime::UNIX_EPOCH) else { panic!("{provider:?} read a web page") };
        assert!(fault.to_string().contains("web page"), "{fault}");
        assert_eq!(decode(provider, b" \r\n", DateTime::UNIX_EPOCH), Err(FeedFault::Empty));
    }
}

/// Whatever comes in: hours in order and none twice, nothing outside its limits, or a fault.
fn answered_soundly(body: &[u8]) -> Result<(), TestCaseError> {
    for provider in &PROVIDERS {
        if let Ok(forecast) = decode(provider, body, DateTime::UNIX_EPOCH) {
            prop_assert!(forecast.hours.windows(2).all(|pair| pair[0].time < pair[1].time));
            prop_assert!(forecast.hours.iter().all(|hour| crate::units::AIR_TEMPERATURE.allow(hour.air_temperature.0)));
            prop_assert!(!forecast.hours.is_empty());
        }
    }
    recognise(body);
    Ok(())
}

proptest! {
    #[test]
    fn arbitrary_bytes_never_panic(body in prop::collection::vec(any::<u8>(), 0..400)) {
        answered_soundly(&body)?;
    }

    #[test]
    fn a_good_document_with_damaged_bytes_never_panics(
        which in 0..GOOD.len(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), prop::sample::select(&b"0123456789-eE.,:/TPDHM\"{}[]n\xff"[..])), 1..6),
        cut in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let mut body = GOOD[which].0.to_vec();
        for (at, byte) in damage {
            let at = at.index(body.len());
            body[at] = byte;
        }
        if is_cut {
            body.truncate(cut.index(body.len()));
        }
        answered_soundly(&body)?;
    }
}
