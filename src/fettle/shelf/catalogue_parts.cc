// What stands where in the packs.
#include <algorithm>
#include <map>
#include <unordered_set>

#include "fettle/shelf/catalogue.h"

namespace fettle::shelf {
namespace {

using records::Kind;
using Values = std::vector<records::Value>;

const std::string part_columns =
    "parts.id, content_id, ifnull(prefix_id, 0), seq, pack_id, at, stored, parts.size, kind";
const std::vector<Kind> part_kinds(9, Kind::number);

constexpr int most_parts = 1 << 20;  // 32 TiB; a damaged catalogue may say anything

Part part_from(const records::Row& r) {
    Part p;
    p.id = r.number(0);
    p.content = r.number(1);
    p.prefix = r.number(2);
    p.seq = static_cast<int>(r.number(3));
    p.pack = r.number(4);
    p.at = static_cast<std::uint64_t>(r.number(5));
    p.stored = static_cast<std::uint32_t>(r.number(6));
    p.size = static_cast<std::uint32_t>(r.number(7));
    p.form = static_cast<Form>(r.number(8));
    return p;
}

// Rows of ids, and every part that these rest on.
std::string with_what_they_rest_on(const std::string& ids) {
    return "with recursive needed (id) as (" + ids +
           " union select prefix_id from parts join needed on parts.id = needed.id where prefix_id is not null) "
           "select " +
           part_columns + " from needed join parts on parts.id = needed.id";
}

// An id that no row of the table ever had: sqlite_sequence keeps the highest of an autoincrement table.
Result<std::int64_t> next_id(records::Database& db, const std::string& table) {
    auto rows = db.query("select ifnull(max(seq), 0) from sqlite_sequence where name = :t", {Kind::number}, {table});
    if (!rows) return pass(rows);
    return rows->front().number(0) + 1;
}

records::Value or_null(std::int64_t id) {
    return id;  // 0 becomes null by nullif(:x, 0)
}

}  // namespace

Status Catalogue::store(const NewContents& contents, const std::vector<std::int64_t>& packs) {
    std::vector<Values> pack_rows, content_rows, part_rows, mended;
    for (const std::int64_t id : packs) pack_rows.push_back({id});
    auto content_id = next_id(db_, "contents");
    if (!content_id) return pass(content_id);
    auto part_id = next_id(db_, "parts");
    if (!part_id) return pass(part_id);
    for (const auto& [sha256, c] : contents) {
        if (c.mends == 0) {
            content_rows.push_back({*content_id, sha256, static_cast<std::int64_t>(c.size)});
        }
        std::int64_t seq = 0;
        for (const NewPart& p : c.parts) {
            const Values where = {packs.at(p.pack),     static_cast<std::int64_t>(p.at),   std::int64_t{p.stored},
                                  std::int64_t{p.size}, static_cast<std::int64_t>(p.form), or_null(p.prefix)};
            Values row = where;
            if (c.mends != 0) {  // keeps its id: others may rest on it
                row.insert(row.end(), {c.mends, seq});
                if (!p.keep) mended.push_back(std::move(row));
            } else {
                row.insert(row.end(), {(*part_id)++, *content_id, seq});
                part_rows.push_back(std::move(row));
            }
            ++seq;
        }
        if (c.mends == 0) ++*content_id;
    }
    if (auto ok = db_.run_each("insert into packs (id) values (:id)", pack_rows); !ok) return ok;
    if (auto ok = db_.run_each("insert into contents (id, sha256, size) values (:id, :d, :s)", content_rows); !ok)
        return ok;
    if (auto ok = db_.run_each("insert into parts (pack_id, at, stored, size, kind, prefix_id, id, content_id, seq)"
                               " values (:p, :a, :st, :si, :k, nullif(:b, 0), :id, :c, :q)",
                               part_rows);
        !ok)
        return ok;
    return db_.run_each(
        "update parts set pack_id = :p, at = :a, stored = :st, size = :si, kind = :k,"
        " prefix_id = nullif(:b, 0) where content_id = :c and seq = :q",
        mended);
}

Result<std::optional<KeptContent>> Catalogue::content(const std::string& sha256) {
    auto rows = db_.query("select id, size from contents where sha256 = :d", {Kind::number, Kind::number}, {sha256});
    if (!rows) return pass(rows);
    if (rows->empty()) return std::optional<KeptContent>();
    return std::optional<KeptContent>(
        KeptContent{rows->front().number(0), static_cast<std::uint64_t>(rows->front().number(1)), sha256, {}});
}

// One question for all: one a digest takes as long as compressing a small file.
Result<std::set<std::string>> Catalogue::which_are_there(const std::vector<std::string>& sha256s) {
    std::set<std::string> out;
    std::string list = "[";
    for (const std::string& digest : sha256s) {
        if (!unhex(digest)) continue;  // an index may say anything; no content has such a digest
        list += (list.size() > 1 ? ",\"" : "\"") + digest + "\"";
    }
    auto ok = db_.each("select sha256 from contents where sha256 in (select value from json_each(:l))", {Kind::text},
                       {list + "]"}, [&](const records::Row& r) { out.insert(r.text(0)); });
    if (!ok) return pass(ok);
    return out;
}

Result<Parts> Catalogue::parts_of(std::int64_t content) {
    auto rows = db_.query(with_what_they_rest_on("select id from parts where content_id = :c"), part_kinds, {content});
    if (!rows) return pass(rows);
    Parts out;
    for (const records::Row& r : *rows) out.emplace(r.number(0), part_from(r));
    return out;
}

Result<Catalogue::Held> Catalogue::held_where(const std::string& contents, const Values& values) {
    Held out;
    std::unordered_map<std::int64_t, std::size_t> place;
    auto ok =
        db_.each("select id, size, sha256 from contents where id in (" + contents + ") order by id",
                 {Kind::number, Kind::number, Kind::text}, values, [&](const records::Row& r) {
                     place[r.number(0)] = out.contents.size();
                     out.contents.push_back({r.number(0), static_cast<std::uint64_t>(r.number(1)), r.text(2), {}});
                 });
    if (!ok) return pass(ok);
    ok = db_.each(with_what_they_rest_on("select id from parts where content_id in (" + contents + ")"), part_kinds,
                  values, [&](const records::Row& r) {
                      const Part p = part_from(r);
                      out.parts.emplace(p.id, p);
                      const auto at = place.find(p.content);
                      if (at == place.end() || p.seq < 0 || p.seq > most_parts) return;
                      auto& parts = out.contents[at->second].parts;
                      const auto seq = static_cast<std::size_t>(p.seq);
                      if (parts.size() <= seq) parts.resize(seq + 1);
                      parts[seq] = p.id;
                  });
    if (!ok) return pass(ok);
    return out;
}

Result<Catalogue::Held> Catalogue::held_by(std::int64_t release) {
    return held_where("select content_id from files where release_id = :id", {release});
}

Result<Catalogue::Held> Catalogue::held() {
    return held_where("select content_id from files", {});
}

Result<std::vector<Catalogue::Holder>> Catalogue::holders(std::int64_t content) {
    auto rows = db_.query(
        "select release_id, family, release, path from files join releases on releases.id = release_id"
        " where content_id = :c order by release_id, ordinal",
        {Kind::number, Kind::text, Kind::text, Kind::text}, {content});
    if (!rows) return pass(rows);
    std::vector<Holder> out;
    for (const records::Row& r : *rows) out.push_back({r.number(0), r.text(1), r.text(2), r.text(3)});
    return out;
}

Result<std::vector<std::int64_t>> Catalogue::packs() {
    auto rows = db_.query("select id from packs order by id", {Kind::number});
    if (!rows) return pass(rows);
    std::vector<std::int64_t> out;
    for (const records::Row& r : *rows) out.push_back(r.number(0));
    return out;
}

Result<std::int64_t> Catalogue::free_pack() {
    return next_id(db_, "packs");
}

Status Catalogue::move(const std::vector<Moved>& moved, const Held& living, const std::vector<std::int64_t>& packs,
                       const std::vector<std::int64_t>& gone) {
    return db_.write([&]() -> Status {
        std::vector<Values> pack_rows, rows, keep, dropped;
        for (const std::int64_t id : packs) pack_rows.push_back({id});
        for (const Moved& m : moved)
            rows.push_back({packs.at(m.new_pack), static_cast<std::int64_t>(m.part.at), std::int64_t{m.part.stored},
                            static_cast<std::int64_t>(m.part.form), or_null(m.part.prefix), m.part.id});
        for (const KeptContent& c : living.contents) keep.push_back({c.id});
        for (const std::int64_t id : gone) dropped.push_back({id});
        if (auto ok = db_.run_each("insert into packs (id) values (:id)", pack_rows); !ok) return ok;
        if (auto ok = db_.run_each("update parts set pack_id = :p, at = :a, stored = :s, kind = :k,"
                                   " prefix_id = nullif(:b, 0) where id = :id",
                                   rows);
            !ok)
            return ok;
        if (auto ok = db_.run("create temp table if not exists living (id integer primary key)"); !ok) return ok;
        if (auto ok = db_.run("delete from living"); !ok) return ok;
        if (auto ok = db_.run_each("insert into living (id) values (:id)", keep); !ok) return ok;
        for (const char* sql : {"update parts set prefix_id = null where content_id not in (select id from living)",
                                "delete from parts where content_id not in (select id from living)",
                                "delete from contents where id not in (select id from living)"})
            if (auto ok = db_.run(sql); !ok) return ok;
        return db_.run_each("delete from packs where id = :id", dropped);
    });
}

}  // namespace fettle::shelf
