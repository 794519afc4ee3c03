#include "fettle/book/tables.h"

namespace fettle::book {
namespace {

using records::Kind;

tl::unexpected<Error> unknown(const std::filesystem::path& file, std::string_view job) {
    return bad_input("job-unknown", "job " + std::string(job), "is not in this bench book (" + file.string() + ")",
                     Next{"look it up with: ", propose(Act::list_jobs), ", or name another home (",
                          with(wanted("home", "DIR")), ")"});
}

}  // namespace

const records::Schema schema{
    "book",
    {{
        "create table jobs (serial integer primary key, job text not null unique, opened_at integer not null,"
        " entries integer not null, head text not null)",
        "create table entries (job text not null references jobs (job), number integer not null, at integer not null,"
        " type text not null, data text not null, previous text not null, digest text not null,"
        " primary key (job, number))",
    }}};

Result<Head> head_in(records::Database& db, const std::filesystem::path& file, std::string_view job) {
    auto rows =
        db.query("select entries, head from jobs where job = :job", {Kind::number, Kind::text}, {std::string(job)});
    if (!rows) return pass(rows);
    if (rows->empty()) return unknown(file, job);
    return Head{rows->front().number(0), rows->front().text(1)};
}

// One statement, so that entries and head are of one instant.
Result<Journal> journal_in(records::Database& db, const std::filesystem::path& file, std::string_view job,
                           std::int64_t after) {
    auto rows = db.query(
        "select jobs.entries, head, number, at, type, data, previous, digest"
        " from jobs left join entries on entries.job = jobs.job and number > :after where jobs.job = :job"
        " order by number",
        {Kind::number, Kind::text, Kind::number, Kind::number, Kind::text, Kind::text, Kind::text, Kind::text},
        {after, std::string(job)});
    if (!rows) return pass(rows);
    if (rows->empty()) return unknown(file, job);
    Journal journal;
    journal.head = {rows->front().number(0), rows->front().text(1)};
    for (const records::Row& r : *rows)
        if (!r.text(4).empty())
            journal.entries.push_back({r.number(2), r.number(3), r.text(4), r.text(5), r.text(6), r.text(7)});
    return journal;
}

}  // namespace fettle::book
