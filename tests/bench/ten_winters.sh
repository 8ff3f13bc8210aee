#!/bin/sh
# Ten winters of one garden of forty beds, with four loggers that read every ten minutes (2.1 million rows), and what they
# cost: taking them in, the list of cold nights, a season, and tonight's list with and without them.
#
#   tests/bench/ten_winters.sh [PROGRAM] [FOLDER]
#
# PROGRAM is target/release/counterpane where it is not said; FOLDER, new, keeps what was made, else it is taken away. The
# weather is invented: a yearly wave, a daily one, and nights that differ. Needs awk, date of GNU and python3.
set -eu

program=$(realpath "${1:-target/release/counterpane}")
demo=$(realpath "$(dirname "$0")/../../config")
if [ $# -ge 2 ]; then
    folder=$2
    mkdir "$folder"
else
    folder=$(mktemp -d)
    trap 'rm -r "$folder"' EXIT
fi
folder=$(realpath "$folder")
now=2036-07-05T12:00:00-04:00

mkdir "$folder/gardens"
cp "$demo/counterpane.toml" "$folder/"
awk '/^\[\[beds\]\]/ { exit } { print }' "$demo/gardens/tansyford.toml" > "$folder/gardens/tansyford.toml"
awk 'BEGIN {
    split("lettuce_leaf spinach broccoli garlic", crop, " "); split("leafy leafy heading leafy", stage, " ")
    for (bed = 1; bed <= 40; bed++) {
        kind = bed % 4 + 1
        printf "[[beds]]\nid = \"B%d\"\nkind = \"raised\"\nlength_m = 2.4\nwidth_m = 1.2\n", bed
        printf "plantings = [{ crop = \"%s\", stage = \"%s\", hardened = \"partly\" }]\n\n", crop[kind], stage[kind]
    }
}' >> "$folder/gardens/tansyford.toml"

rows() {
    python3 - "$1" <<'PY'
import datetime, math, random, sys
random.seed(7)
colder = float(sys.argv[1])
print("time_utc,air_c")
for day in range(3652):
    base = 9 + 11 * math.cos((day - 20) * 2 * math.pi / 365.25) + 6 * (random.random() - 0.5) - colder
    date = datetime.date(2026, 7, 1) + datetime.timedelta(day)
    for step in range(144):
        # Warmest at 20:00 UTC, an afternoon at 80 degrees west.
        air = base + 6 * math.cos((step / 6 - 20) * 2 * math.pi / 24)
        print(f"{date} {step // 6:02}:{step % 6 * 10:02},{air:.2f}")
PY
}

took() {
    begun=$(date +%s.%N)
    "$@" > "$folder/out" 2> "$folder/err" || { cat "$folder/err" >&2; exit 1; }
    ended=$(date +%s.%N)
    echo "$begun $ended" | awk '{ printf "%7.2f s", $2 - $1 }'
}

list() {
    for _ in 1 2 3; do
        took "$program" tonight --config "$folder" --low 27F --now 2036-01-16T13:00:00-05:00
    done
}

echo "tonight, without     $(list)"
for logger in 0 1 2 3; do
    rows "$logger" > "$folder/logger$logger.csv"
    bed=""
    [ "$logger" = 0 ] || bed="--bed B$logger"
    # shellcheck disable=SC2086
    echo "import of logger $logger  $(took "$program" journal --import "$folder/logger$logger.csv" $bed --sure --config "$folder" --now "$now")"
done
python3 - "$folder/counterpane.sqlite" <<'PY'
import datetime, json, random, sqlite3, sys
random.seed(7)
store = sqlite3.connect(sys.argv[1])
for number in range(3652):
    night = datetime.date(2026, 7, 1) + datetime.timedelta(number)
    made = int(datetime.datetime(night.year, night.month, night.day, 20, tzinfo=datetime.timezone.utc).timestamp())
    lowest = store.execute("SELECT min(celsius) FROM logged WHERE series = 1 AND at BETWEEN ? AND ?",
                           (made - 4 * 3600, made + 20 * 3600)).fetchone()[0]
    low = (5 if lowest is None else lowest) + random.gauss(0, 1.5)
    for hours in (9, 3, 0):
        store.execute("INSERT INTO forecast_at_round VALUES ('tansyford',?,?,'afternoon','nws',NULL,?,1.5,?,16,0.2,1,0.9,'clear',0)",
                      (str(night), made - hours * 3600, low, low))
    if low < 1:
        beds = [{"bed": f"B{bed}", "measure": "cover" if low < -1 and bed < 6 else "fine",
                 "cover": "white cloth, bed size" if low < -1 and bed < 6 else None, "chance": 0.4, "remaining": 0.1}
                for bed in range(1, 41)]
        store.execute("INSERT INTO said VALUES ('tansyford',?,1,?,?)",
                      (str(night), json.dumps({"at": night.isoformat() + "T20:00:00Z", "beds": beds}), made))
store.commit()
PY
echo "tonight, with        $(list)"
echo "event, the list      $(took "$program" event --config "$folder" --now "$now")  $(wc -l < "$folder/out") lines"
echo "season 2030-31       $(took "$program" season 2030-31 --out "$folder/report" --config "$folder" --now "$now")"
