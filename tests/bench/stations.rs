//! Records of weather stations. A folder holds `stations.csv` (columns `station,lat,lon,elev_m,tz`, any others are not read)
//! and one gzipped table of hours for each, `STATION.csv.gz`, in the columns that `counterpane replay` reads.

use chrono::DateTime;
use counterpane::service::feed::decode;
use counterpane::weather::{Forecast, Provider, Site};
use counterpane::zone::Zone;
use std::io::Read as _;
use std::path::Path;

pub struct Record {
    pub name: String,
    pub site: Site,
    pub zone: Zone,
    pub hours: Forecast,
}

/// One after another, for they are long.
pub fn records(folder: &Path) -> impl Iterator<Item = Record> {
    let mut table = csv::Reader::from_path(folder.join("stations.csv")).expect("stations.csv");
    let header = table.headers().expect("a header").clone();
    let column = move |name: &str| header.iter().position(|column| column == name).expect("a column");
    table.into_records().map(move |row| {
        let row = row.expect("a row");
        let number = |name: &str| row[column(name)].parse::<f64>().expect("a number");
        let site = Site { latitude: number("lat"), longitude: number("lon"), elevation: number("elev_m") };
        let zone = Zone::bundled(row[column("tz")].parse().expect("a zone")).expect("rules");
        let name = row[column("station")].to_string();
        let file = std::fs::File::open(folder.join(format!("{name}.csv.gz"))).expect("a record");
        let mut text = String::new();
        flate2::read::GzDecoder::new(file).read_to_string(&mut text).expect("a gzipped table");
        let hours = decode(&Provider::Csv, text.as_bytes(), DateTime::UNIX_EPOCH).expect("a table of hours");
        Record { name, site, zone, hours }
    })
}
