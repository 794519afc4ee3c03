#include "fettle/shelf/catalogue.h"

#include <fmt/core.h>

#include <set>

#include "fettle/base/text.h"
#include "fettle/shelf/release_json.h"

namespace fettle::shelf {
namespace {

using records::Kind;

const records::Schema schema{
    "shelf",
    {{
        "create table releases (id integer primary key, family text not null, release text not null,"
        " index_sha256 text not null, description text not null, signature integer not null,"
        " index_only integer not null, added_at integer not null, vetted text not null, unique (family, release))",
        "create table files (release_id integer not null references releases (id), ordinal integer not null,"
        " path text not null, size integer not null, sha256 text not null, primary key (release_id, ordinal))",
        "create index files_by_digest on files (sha256)",
        "create table slips (id integer primary key, release_id integer not null references releases (id),"
        " source text not null, allowed integer not null, also_seen text not null, path text not null,"
        " package_sha256 text not null, at integer not null)",
    }}};

// The latest slip whose right is known, else the latest.
Result<ProvenanceSlip> slip_of(records::Database& db, std::int64_t id) {
    auto rows = db.query(
        "select source, allowed, also_seen, path, package_sha256, at from slips where release_id = :id"
        " order by (allowed = :unknown), id desc limit 1",
        {Kind::text, Kind::number, Kind::text, Kind::text, Kind::text, Kind::number},
        {id, static_cast<std::int64_t>(Right::unknown)});
    if (!rows) return pass(rows);
    ProvenanceSlip slip;
    if (rows->empty()) return slip;
    const records::Row& r = rows->front();
    slip.from = r.text(0);
    slip.right = static_cast<Right>(r.number(1));
    slip.also_seen_sha256 = r.text(2);
    slip.source_path = r.text(3);
    slip.package_sha256 = r.text(4);
    slip.at = r.number(5);
    return slip;
}

}  // namespace

Result<Catalogue> Catalogue::open(const std::filesystem::path& file) {
    auto db = records::Database::open(file, schema);
    if (!db) return pass(db);
    return Catalogue(std::move(*db));
}

Result<std::optional<Catalogue::Known>> Catalogue::known(std::string_view family, std::string_view release) {
    auto rows = db_.query("select id, index_only, index_sha256 from releases where family = :f and release = :r",
                          {Kind::number, Kind::number, Kind::text}, {std::string(family), std::string(release)});
    if (!rows) return pass(rows);
    if (rows->empty()) return std::optional<Known>();
    Known k{rows->front().number(0), rows->front().number(1) != 0, rows->front().text(2), {}};
    auto files = db_.query("select path, size, sha256 from files where release_id = :id order by ordinal",
                           {Kind::text, Kind::number, Kind::text}, {k.id});
    if (!files) return pass(files);
    for (const records::Row& r : *files)
        k.files.push_back({r.text(0), static_cast<std::uint64_t>(r.number(1)), r.text(2)});
    return std::optional<Known>(std::move(k));
}

Status Catalogue::add(const Shelved& s, const std::vector<CataloguedFile>& files) {
    return db_.write([&]() -> Status {
        auto before = known(s.family, s.release.release);
        if (!before) return pass(before);
        std::int64_t id = 0;
        if (*before) {
            if (!(*before)->index_only)
                return outside_error("records-clash", "the shelf's catalogue", "the release was added meanwhile",
                                     "add the package again");
            id = (*before)->id;
            if (auto ok = db_.run("delete from files where release_id = :id", {id}); !ok) return ok;
            if (auto ok = db_.run("update releases set description = :d, signature = :s, index_only = :o, vetted = :v"
                                  " where id = :id",
                                  {release_text(s.release), static_cast<std::int64_t>(s.signature),
                                   std::int64_t{s.index_only}, judgement_text(s.vetted), id});
                !ok)
                return ok;
        } else {
            if (auto ok = db_.run("insert into releases (family, release, index_sha256, description, signature,"
                                  " index_only, added_at, vetted) values (:f, :r, :i, :d, :s, :o, :a, :v)",
                                  {s.family, s.release.release, s.release.index_sha256, release_text(s.release),
                                   static_cast<std::int64_t>(s.signature), std::int64_t{s.index_only}, s.added_at,
                                   judgement_text(s.vetted)});
                !ok)
                return ok;
            auto made = db_.query("select id from releases where family = :f and release = :r", {Kind::number},
                                  {s.family, s.release.release});
            if (!made) return pass(made);
            id = made->front().number(0);
        }
        std::int64_t ordinal = 0;
        for (const CataloguedFile& f : files)
            if (auto ok = db_.run("insert into files (release_id, ordinal, path, size, sha256)"
                                  " values (:id, :o, :p, :s, :d)",
                                  {id, ordinal++, f.path, static_cast<std::int64_t>(f.size), f.sha256});
                !ok)
                return ok;
        return add_slip(id, s.slip);
    });
}

Status Catalogue::add_slip(std::int64_t id, const ProvenanceSlip& slip) {
    return db_.run(
        "insert into slips (release_id, source, allowed, also_seen, path, package_sha256, at)"
        " values (:id, :f, :r, :s, :p, :d, :a)",
        {id, slip.from, static_cast<std::int64_t>(slip.right), slip.also_seen_sha256, slip.source_path,
         slip.package_sha256, slip.at});
}

Result<std::vector<Shelved>> Catalogue::list(std::string_view family, std::string_view release) {
    auto rows = db_.query(
        "select id, family, description, signature, index_only, added_at, vetted from releases"
        " where (:f = '' or family = :f2) and (:r = '' or release = :r2) order by added_at, id",
        {Kind::number, Kind::text, Kind::text, Kind::number, Kind::number, Kind::number, Kind::text},
        {std::string(family), std::string(family), std::string(release), std::string(release)});
    if (!rows) return pass(rows);
    std::vector<Shelved> out;
    for (const records::Row& r : *rows) {
        Shelved s;
        s.family = r.text(1);
        auto described = release_from(r.text(2));
        if (!described) return pass(described);
        s.release = std::move(*described);
        s.signature = static_cast<SignatureState>(r.number(3));
        s.index_only = r.number(4) != 0;
        s.added_at = r.number(5);
        auto vetted = judgement_from(r.text(6));
        if (!vetted) return pass(vetted);
        s.vetted = std::move(*vetted);
        auto slip = slip_of(db_, r.number(0));
        if (!slip) return pass(slip);
        s.slip = std::move(*slip);
        out.push_back(std::move(s));
    }
    return out;
}

Result<bool> Catalogue::referenced(const std::string& sha256) {
    auto rows = db_.query("select count(*) from files where sha256 = :d", {Kind::number}, {sha256});
    if (!rows) return pass(rows);
    return rows->front().number(0) > 0;
}

Result<Shelf::AsOf> Catalogue::as_of(std::string_view family) {
    auto rows = db_.query(
        "select max(slips.at), count(distinct source) from slips join releases on releases.id ="
        " release_id where :f = '' or family = :f2",
        {Kind::number, Kind::number}, {std::string(family), std::string(family)});
    if (!rows) return pass(rows);
    return Shelf::AsOf{rows->front().number(0), static_cast<int>(rows->front().number(1))};
}

}  // namespace fettle::shelf
