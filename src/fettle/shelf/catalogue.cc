// Releases, slips and refusals. What stands where in the packs: catalogue_parts.cc.
#include "fettle/shelf/catalogue.h"

#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/shelf/release_json.h"

namespace fettle::shelf {
namespace {

using records::Kind;

const records::Schema schema{
    "shelf of packs",
    {{
        "create table releases (id integer primary key autoincrement, family text not null, release text not null,"
        " index_sha256 text not null, outline text not null, pieces text not null, signature integer not null,"
        " index_only integer not null, added_at integer not null, vetted text not null,"
        " verified_at integer not null default 0, verified_good integer not null default 0, unique (family, release))",
        "create table packs (id integer primary key autoincrement)",
        "create table contents (id integer primary key autoincrement, sha256 text not null unique,"
        " size integer not null)",
        "create table parts (id integer primary key autoincrement, content_id integer not null references contents "
        "(id),"
        " seq integer not null, pack_id integer not null references packs (id), at integer not null,"
        " stored integer not null, size integer not null, kind integer not null,"
        " prefix_id integer references parts (id))",
        "create index parts_by_content on parts (content_id, seq)",
        "create table files (release_id integer not null references releases (id), ordinal integer not null,"
        " path text not null, content_id integer not null references contents (id),"
        " primary key (release_id, ordinal)) without rowid",
        "create table slips (id integer primary key, release_id integer not null references releases (id),"
        " source text not null, allowed integer not null, also_seen text not null, path text not null,"
        " package_sha256 text not null, content_sha256 text not null, at integer not null)",
        "create index slips_by_release on slips (release_id)",
        "create table refusals (id integer primary key, at integer not null, family text not null, path text not null,"
        " source text not null, codes text not null)",
    }}};

// The latest slip whose right is known, else the latest.
Result<ProvenanceSlip> slip_of(records::Database& db, std::int64_t id) {
    auto rows = db.query(
        "select source, allowed, also_seen, path, package_sha256, content_sha256, at from slips where release_id = :id"
        " order by (allowed = :unknown), id desc limit 1",
        {Kind::text, Kind::number, Kind::text, Kind::text, Kind::text, Kind::text, Kind::number},
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
    slip.content_sha256 = r.text(5);
    slip.at = r.number(6);
    return slip;
}

Status put_slip(records::Database& db, std::int64_t id, const ProvenanceSlip& slip) {
    return db.run(
        "insert into slips (release_id, source, allowed, also_seen, path, package_sha256, content_sha256, at)"
        " values (:id, :f, :r, :s, :p, :d, :c, :a)",
        {id, slip.from, static_cast<std::int64_t>(slip.right), slip.also_seen_sha256, slip.source_path,
         slip.package_sha256, slip.content_sha256, slip.at});
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
    auto files = db_.query(
        "select path, size, sha256 from files join contents on contents.id = content_id"
        " where release_id = :id order by ordinal",
        {Kind::text, Kind::number, Kind::text}, {k.id});
    if (!files) return pass(files);
    for (const records::Row& r : *files)
        k.files.push_back({r.text(0), static_cast<std::uint64_t>(r.number(1)), r.text(2)});
    return std::optional<Known>(std::move(k));
}

Status Catalogue::add(const Shelved& s, const std::vector<CataloguedFile>& files, const NewContents& contents,
                      const std::vector<std::int64_t>& packs) {
    return db_.write([&]() -> Status {
        auto before = known(s.family, s.release.release);
        if (!before) return pass(before);
        if (auto ok = store(contents, packs); !ok) return ok;
        std::int64_t id = 0;
        const std::vector<records::Value> described = {outline_text(s.release), pieces_text(s.release.pieces),
                                                       static_cast<std::int64_t>(s.signature),
                                                       std::int64_t{s.index_only}, judgement_text(s.vetted)};
        if (*before) {
            if (!(*before)->index_only)
                return outside_error("records-clash", "the shelf's catalogue", "the release was added meanwhile",
                                     "add the package again");
            id = (*before)->id;
            if (auto ok = db_.run("delete from files where release_id = :id", {id}); !ok) return ok;
            auto values = described;
            values.emplace_back(id);
            if (auto ok = db_.run("update releases set outline = :d, pieces = :p, signature = :s, index_only = :o,"
                                  " vetted = :v where id = :id",
                                  values);
                !ok)
                return ok;
        } else {
            auto values = described;
            for (const records::Value& v : {records::Value(s.family), records::Value(s.release.release),
                                            records::Value(s.release.index_sha256), records::Value(s.added_at)})
                values.push_back(v);
            if (auto ok = db_.run("insert into releases (outline, pieces, signature, index_only, vetted, family,"
                                  " release, index_sha256, added_at) values (:d, :p, :s, :o, :v, :f, :r, :i, :a)",
                                  values);
                !ok)
                return ok;
            auto made = db_.query("select id from releases where family = :f and release = :r", {Kind::number},
                                  {s.family, s.release.release});
            if (!made) return pass(made);
            id = made->front().number(0);
        }
        std::vector<std::vector<records::Value>> rows;
        for (const CataloguedFile& f : files)
            rows.push_back({id, static_cast<std::int64_t>(rows.size()), f.path, f.sha256});
        if (auto ok = db_.run_each("insert into files (release_id, ordinal, path, content_id)"
                                   " values (:id, :o, :p, (select id from contents where sha256 = :d))",
                                   rows);
            !ok)
            return ok;
        return put_slip(db_, id, s.slip);
    });
}

Status Catalogue::add_slip(std::int64_t id, const ProvenanceSlip& slip, const NewContents& contents,
                           const std::vector<std::int64_t>& packs) {
    return db_.write([&]() -> Status {
        if (auto ok = store(contents, packs); !ok) return ok;
        return put_slip(db_, id, slip);
    });
}

Status Catalogue::add_refusal(const Refusal& r) {
    return db_.run("insert into refusals (at, family, path, source, codes) values (:a, :f, :p, :s, :c)",
                   {r.at, r.family, r.source_path, r.from, codes_text(r.codes)});
}

Status Catalogue::remove(std::int64_t id) {
    return db_.write([&]() -> Status {
        for (const char* sql : {"delete from files where release_id = :id", "delete from slips where release_id = :id",
                                "delete from releases where id = :id"})
            if (auto ok = db_.run(sql, {id}); !ok) return ok;
        return {};
    });
}

Status Catalogue::set_verified(const std::vector<std::int64_t>& ids, UnixMs at, bool good) {
    std::vector<std::vector<records::Value>> rows;
    for (const std::int64_t id : ids) rows.push_back({at, std::int64_t{good}, id});
    return db_.write(
        [&] { return db_.run_each("update releases set verified_at = :a, verified_good = :g where id = :id", rows); });
}

Result<std::vector<Outline>> Catalogue::outlines(std::string_view family, std::string_view release) {
    auto rows = db_.query(
        "select id, family, outline, signature, index_only, added_at, verified_at, verified_good from releases"
        " where (:f = '' or family = :f2) and (:r = '' or release = :r2) order by added_at, id",
        {Kind::number, Kind::text, Kind::text, Kind::number, Kind::number, Kind::number, Kind::number, Kind::number},
        {std::string(family), std::string(family), std::string(release), std::string(release)});
    if (!rows) return pass(rows);
    std::vector<Outline> out;
    for (const records::Row& r : *rows) {
        auto o = outline_from(r.text(2));
        if (!o) return pass(o);
        o->id = r.number(0);
        o->family = r.text(1);
        o->signature = static_cast<SignatureState>(r.number(3));
        o->index_only = r.number(4) != 0;
        o->added_at = r.number(5);
        o->verified_at = r.number(6);
        o->verified_good = r.number(7) != 0;
        auto slip = slip_of(db_, o->id);
        if (!slip) return pass(slip);
        o->slip = std::move(*slip);
        out.push_back(std::move(*o));
    }
    return out;
}

Result<std::vector<Shelved>> Catalogue::list(std::string_view family, std::string_view release) {
    auto all = outlines(family, release);
    if (!all) return pass(all);
    std::vector<Shelved> out;
    for (Outline& o : *all) {
        Shelved s;
        s.family = std::move(o.family);
        s.release = std::move(o.release);
        s.slip = std::move(o.slip);
        s.signature = o.signature;
        s.index_only = o.index_only;
        s.added_at = o.added_at;
        auto rows = db_.query("select pieces, vetted from releases where id = :id", {Kind::text, Kind::text}, {o.id});
        if (!rows) return pass(rows);
        if (rows->empty()) continue;  // removed just now
        auto pieces = pieces_from(rows->front().text(0));
        if (!pieces) return pass(pieces);
        s.release.pieces = std::move(*pieces);
        auto vetted = judgement_from(rows->front().text(1));
        if (!vetted) return pass(vetted);
        s.vetted = std::move(*vetted);
        out.push_back(std::move(s));
    }
    return out;
}

Result<std::vector<Refusal>> Catalogue::refusals() {
    auto rows = db_.query("select at, family, path, source, codes from refusals order by id",
                          {Kind::number, Kind::text, Kind::text, Kind::text, Kind::text});
    if (!rows) return pass(rows);
    std::vector<Refusal> out;
    for (const records::Row& r : *rows) {
        auto codes = codes_from(r.text(4));
        if (!codes) return pass(codes);
        out.push_back({r.number(0), r.text(1), r.text(2), r.text(3), std::move(*codes)});
    }
    return out;
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
