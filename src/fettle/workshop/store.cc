#include "fettle/workshop/store.h"

#include <fmt/core.h>

#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::workshop {
namespace {

// As people type it: blanks around it, a small x at its end.
std::string job_number(const std::string& typed) {
    std::string out(trim(typed));
    if (!out.empty() && out.back() == 'x') out.back() = 'X';
    return out;
}

}  // namespace

Result<book::Book> open_book(const Workshop& shop) {
    if (auto ok = make_folder(shop.home); !ok) return pass(ok);
    return book::Book::open(shop.book_file());
}

Result<book::Book> existing_book(const Workshop& shop) {
    std::error_code ec;
    if (!std::filesystem::exists(shop.book_file(), ec))
        return bad_input("book-missing", shop.book_file().string(), "there is no bench book in this home",
                         Next{"open a job first (", propose(Act::open_job), "), or name another home (",
                              with(wanted("home", "DIR")), ")"});
    return book::Book::open(shop.book_file());
}

std::string data_of(const Workshop& shop, json::object data) {
    const auto up = shop.uptime ? shop.uptime() : std::nullopt;
    if (up) data["clock"] = json::object{{"boot", up->boot}, {"up_s", up->up_s}};
    return json::serialize(data);
}

Status append_entries(const Workshop& shop, const std::string& job, const std::vector<NewEntry>& entries,
                      std::optional<std::int64_t> after) {
    const std::string number = job_number(job);
    if (auto ok = book::check_job_number(number); !ok) return ok;
    std::vector<book::Addition> additions;
    for (const NewEntry& e : entries) {
        additions.push_back({e.type, data_of(shop, e.data)});
        if (auto ok = book::check_entry(e.type, additions.back().data); !ok) return ok;
        if (e.type == "opened")
            return bad_input("entry-malformed", "\"opened\" entry", "a job is opened once only",
                             "this is a defect of the command that made it");
    }
    auto opened = existing_book(shop);
    if (!opened) return pass(opened);
    auto added = opened->append_all(number, additions, shop.clock->now(), after);
    if (!added) return pass(added);
    return {};
}

Result<JobRecord> read_job(const Workshop& shop, const std::string& job) {
    JobRecord record;
    record.number = job_number(job);
    if (auto ok = book::check_job_number(record.number); !ok) return pass(ok);
    auto opened = existing_book(shop);
    if (!opened) return pass(opened);
    auto journal = opened->journal(record.number);
    if (!journal) return pass(journal);
    record.broken = book::check_chain(record.number, journal->entries, journal->head);
    record.entries = std::move(journal->entries);
    return record;
}

Result<book::Job> job_of(const JobRecord& record) {
    if (record.broken)
        return bad_input("chain-broken", fmt::format("job {}, entry {}", record.number, record.broken->number),
                         record.broken->why,
                         Next{"look at the record (", propose(Act::show_job, {job(record.number)}),
                              ") and compare it with the last copy of the home folder"});
    return book::fold(record.number, record.entries);
}

Result<book::Job> load_job(const Workshop& shop, const std::string& job) {
    auto record = read_job(shop, job);
    if (!record) return pass(record);
    return job_of(*record);
}

}  // namespace fettle::workshop
