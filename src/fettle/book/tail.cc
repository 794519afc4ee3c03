#include "fettle/book/tail.h"

#include "fettle/book/tables.h"

namespace fettle::book {

struct JournalTail::State {
    std::filesystem::path file;
    records::Database db;
};

JournalTail::JournalTail(std::unique_ptr<State> state) : state_(std::move(state)) {}
JournalTail::JournalTail(JournalTail&&) noexcept = default;
JournalTail& JournalTail::operator=(JournalTail&&) noexcept = default;
JournalTail::~JournalTail() = default;

Result<JournalTail> JournalTail::open(const std::filesystem::path& file) {
    auto db = records::Database::open(file, schema);
    if (!db) return pass(db);
    return JournalTail(std::make_unique<State>(State{file, std::move(*db)}));
}

Result<Head> JournalTail::head(std::string_view job) {
    if (auto ok = check_job_number(job); !ok) return pass(ok);
    return head_in(state_->db, state_->file, job);
}

Result<Journal> JournalTail::after(std::string_view job, std::int64_t number) {
    if (auto ok = check_job_number(job); !ok) return pass(ok);
    return journal_in(state_->db, state_->file, job, number);
}

}  // namespace fettle::book
