// The store behind the journal: two tables. Everything that appends does so in one transaction that first reads the
// last entry, so two processes cannot chain onto the same one.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/check_character.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/book/journal.h"
#include "fettle/book/tables.h"

namespace fettle::book {
namespace {

using records::Kind;

Status check_addition(const Addition& a) {
    const auto allowed = [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; };
    if (a.type.empty() || a.type.size() > 40 || !std::all_of(a.type.begin(), a.type.end(), allowed))
        return bad_input("entry-type", printable(a.type), "is no entry type: lower-case letters, digits and hyphens",
                         "use a type of docs/journal.md");
    const std::string place = "data of a \"" + a.type + "\" entry";
    if (a.data.find('\0') != std::string::npos)
        return bad_input("text-with-nul", place, "holds a NUL character, which records cannot keep",
                         "leave the character out");
    if (!is_utf8(a.data)) return bad_input("text-not-utf8", place, "is not UTF-8 text", "type the text again");
    auto parsed = parse_json(a.data, place);
    if (!parsed) return pass(parsed);
    if (!parsed->is_object())
        return bad_input("entry-data", place, "is not one JSON object", "this is a defect of the command that made it");
    return {};
}

}  // namespace

struct Book::State {
    std::filesystem::path file;
    records::Database db;

    Result<Head> head(std::string_view job) { return head_in(db, file, job); }

    // Inside append_all's or open_job's transaction only.
    Result<Entry> add(std::string_view job, const Head& last, const Addition& a, UnixMs at) {
        Entry e{last.number + 1, at, a.type, a.data, last.digest, ""};
        e.digest = entry_digest(job, e);
        if (auto ok = db.run("insert into entries (job, number, at, type, data, previous, digest)"
                             " values (:job, :number, :at, :type, :data, :previous, :digest)",
                             {std::string(job), e.number, e.at, e.type, e.data, e.previous, e.digest});
            !ok)
            return pass(ok);
        if (auto ok = db.run("update jobs set entries = :n, head = :head where job = :job",
                             {e.number, e.digest, std::string(job)});
            !ok)
            return pass(ok);
        return e;
    }
};

Book::Book(std::unique_ptr<State> state) : state_(std::move(state)) {}
Book::Book(Book&&) noexcept = default;
Book& Book::operator=(Book&&) noexcept = default;
Book::~Book() = default;

Result<Book> Book::open(const std::filesystem::path& file) {
    auto db = records::Database::open(file, schema);
    if (!db) return pass(db);
    return Book(std::make_unique<State>(State{file, std::move(*db)}));
}

Result<std::string> Book::open_job(std::string_view data, UnixMs at, const std::vector<Addition>& more) {
    std::vector<Addition> all{{"opened", std::string(data)}};
    all.insert(all.end(), more.begin(), more.end());
    for (const Addition& a : all)
        if (auto ok = check_addition(a); !ok) return pass(ok);
    std::string job;
    auto done = state_->db.write([&]() -> Status {
        auto most = state_->db.query("select max(serial) from jobs", {Kind::number});
        if (!most) return pass(most);
        const std::int64_t serial = most->front().number(0) + 1;
        const std::string digits = fmt::format("{:04}", serial);
        job = digits + *mod11_2(digits);
        if (auto ok = state_->db.run("insert into jobs (serial, job, opened_at, entries, head)"
                                     " values (:serial, :job, :at, 0, '')",
                                     {serial, job, at});
            !ok)
            return ok;
        Head last{0, std::string(64, '0')};
        for (const Addition& a : all) {
            auto entry = state_->add(job, last, a, at);
            if (!entry) return pass(entry);
            last = Head{entry->number, entry->digest};
        }
        return {};
    });
    if (!done) return pass(done);
    return job;
}

Result<std::vector<Entry>> Book::append_all(std::string_view job, const std::vector<Addition>& additions, UnixMs at,
                                            std::optional<std::int64_t> after) {
    if (auto ok = check_job_number(job); !ok) return pass(ok);
    for (const Addition& a : additions)
        if (auto ok = check_addition(a); !ok) return pass(ok);
    std::vector<Entry> added;
    auto done = state_->db.write([&]() -> Status {
        auto last = state_->head(job);
        if (!last) return pass(last);
        if (after && last->number != *after)
            return bad_input("journal-moved", "job " + std::string(job), "somebody else wrote into it at this moment",
                             "look at the job, and say it again if it is still to be said");
        for (const Addition& a : additions) {
            auto entry = state_->add(job, *last, a, at);
            if (!entry) return pass(entry);
            last = Head{entry->number, entry->digest};
            added.push_back(std::move(*entry));
        }
        return {};
    });
    if (!done) return pass(done);
    return added;
}

Result<Entry> Book::append(std::string_view job, std::string_view type, std::string_view data, UnixMs at) {
    auto added = append_all(job, {{std::string(type), std::string(data)}}, at);
    if (!added) return pass(added);
    return std::move(added->front());
}

Result<Journal> Book::journal(std::string_view job) const {
    if (auto ok = check_job_number(job); !ok) return pass(ok);
    return journal_in(state_->db, state_->file, job, 0);
}

Result<std::vector<Entry>> Book::read(std::string_view job) const {
    auto all = journal(job);
    if (!all) return pass(all);
    return std::move(all->entries);
}

Result<std::vector<Book::OfJob>> Book::entries_of(std::string_view type) const {
    auto rows = state_->db.query("select job, number, data from entries where type = :type order by at, number",
                                 {Kind::text, Kind::number, Kind::text}, {std::string(type)});
    if (!rows) return pass(rows);
    std::vector<OfJob> out;
    for (const records::Row& r : *rows) out.push_back({r.text(0), r.number(1), r.text(2)});
    return out;
}

Result<std::vector<std::string>> Book::jobs() const {
    auto rows = state_->db.query("select job from jobs order by serial", {Kind::text});
    if (!rows) return pass(rows);
    std::vector<std::string> numbers;
    for (const records::Row& r : *rows) numbers.push_back(r.text(0));
    return numbers;
}

}  // namespace fettle::book
