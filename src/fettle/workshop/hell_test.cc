// Journals from hell: two people at two machines do anything at any time, clocks are set, machines die in the middle of
// an act. Whatever comes of it: what was acknowledged is in the journal, no answer is better than the worst fact that
// stands open, and there is a way to a sealed sheet. FETTLE_FIRST=51 FETTLE_SEQUENCES=52 workshop_test --gtest_filter='Hell.*'
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <random>
#include <set>

#include "fettle/workshop/after.h"
#include "fettle/workshop/guard_run.h"
#include "fettle/workshop/hand_over.h"
#include "fettle/workshop/hell_test_help.h"
#include "fettle/workshop/loose_ends.h"
#include "fettle/workshop/mark_run.h"
#include "fettle/workshop/mend_job.h"
#include "fettle/workshop/note_job.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/start_run.h"

namespace fettle::workshop {
namespace {

struct Found {
    int sequences = 0, acts = 0, done = 0, refused = 0, kills = 0, jumps = 0, ended = 0;
};

// One of two people: a machine with its own clock, which may be set, and its own running time, which may not.
struct Person {
    StandingClock clock;
    Workshop shop;
    std::string boot;
    double up_s = 0;
};

class Sequence {
public:
    Sequence(TestJob& job, unsigned seed, Found& found) : t_(job), random_(seed), found_(found) {
        for (int i = 0; i < 2; ++i) {
            Person& p = people_[i];
            p.shop = t_.shop;
            p.clock.at = t_.clock.at + 20'000 * i;  // a phone is half a minute off
            p.shop.clock = &p.clock;
            p.boot = i ? "0000000b" : "0000000a";
            p.shop.uptime = [&p] { return std::optional(Uptime{p.boot, p.up_s}); };
        }
    }

    void run() {
        const int acts = 12 + pick(30);
        for (int i = 0; i < acts && !::testing::Test::HasFailure(); ++i) {
            time_passes();
            act();
            invariants();
        }
        to_the_end();
        ++found_.sequences;
    }
    std::string told() const { return told_; }

private:
    int pick(int n) { return static_cast<int>(random_() % static_cast<unsigned>(n)); }
    bool one_in(int n) { return pick(n) == 0; }

    void time_passes() {
        static const double steps[] = {0.2, 2, 9, 40, 90, 150, 400, 700, 1200};
        const double s = steps[pick(9)];
        for (Person& p : people_) {
            p.clock.at += static_cast<UnixMs>(1000 * s);
            p.up_s += s;
        }
        if (!one_in(9)) return;
        static const double jumps[] = {3 * 3600, -3 * 3600, 6 * 3600, -600, 45, -86'400};
        Person& p = people_[pick(2)];
        p.clock.at += static_cast<UnixMs>(1000 * jumps[pick(6)]);
        if (one_in(3)) p.boot += "r", p.up_s = 3;  // it was started anew as well
        ++found_.jumps;
    }

    Status something(const Workshop& shop) {
        MarkRequest mark;
        mark.job = t_.number;
        mark.by = "R";
        if (one_in(3)) mark.ago_s = pick(4000);
        static const char* const events[] = {"dark",    "back",       "asks",     "answered", "skipped",
                                             "still",   "ended",      "ended",    "recovery", "system",
                                             "display", "broken-off", "restarted"};
        switch (pick(14)) {
            case 0:
            case 1: return begin(shop);
            case 2:
            case 3:
            case 4:
            case 5: mark.event = events[pick(13)]; return status(mark_run(shop, mark));
            case 6: mark.undo = true, mark.ago_s = 0; return status(mark_run(shop, mark));
            case 7:
                mark.ago_s = 0;
                mark.lasted = one_in(3) ? "not-known" : one_in(2) ? "as-marked" : std::to_string(200 + pick(4000));
                return status(mark_run(shop, mark));
            case 8:
                if (one_in(2))
                    mark.tally = "landed=" + std::to_string(pick(3));
                else
                    mark.shows = one_in(2) ? "Writing" : "Flux 77";
                return status(mark_run(shop, mark));
            case 9: return status(keep_as_left(shop, as_left()));
            case 10: return status(prove_job(shop, {t_.number, {}, {}}));
            case 11: {
                MendRequest m;
                m.job = t_.number;
                m.power = one_in(2) ? mend::Power::lost : mend::Power::kept;
                if (one_in(2)) m.release = one_in(2) ? "27.1.110" : "27.3.118";
                return status(mend_job(shop, m));
            }
            case 12: return one_in(2) ? status(note_job(shop, {t_.number, "seen", "R"})) : plan(shop);
            default: return status(hand_over(shop, {t_.number, (t_.folder / "out").string(), "check it"}));
        }
    }
    Status begin(const Workshop& shop) {
        StartRequest r;
        r.job = t_.number;
        r.by = "R";
        r.step = 1;
        r.against_halt = true;
        const auto s = start_run(shop, r);
        return s ? Status{} : pass(s);
    }
    Status plan(const Workshop& shop) {
        PlanAsk ask;
        ask.job = t_.number;
        ask.to = one_in(2) ? "newest" : "27.3.118";
        return status(plan_job(shop, ask));
    }
    AfterRequest as_left() {
        AfterRequest r;
        r.job = t_.number;
        if (one_in(4))
            r.withdraw = true;
        else if (one_in(2))
            r.release = one_in(3) ? "27.1.110" : "27.3.118";
        else
            r.list = ListText{hell::list_left(t_.step(), one_in(3) ? 3 : 1000, one_in(4)), "list"};
        return r;
    }
    template <class T>
    static Status status(const Result<T>& r) {
        return r ? Status{} : pass(r);
    }

    // The act in a process of its own, which may be killed at any instant: what it has told of as done, stays done.
    void act() {
        ++found_.acts;
        const int who = pick(2);
        const unsigned seed = random_();
        const bool to_kill = one_in(hell::kill_every());
        if (!to_kill) {
            random_.seed(seed);
            const Status s = something(people_[who].shop);
            tell(who, s ? "done" : s.error().code);
            (s ? found_.done : found_.refused) += 1;
            if (s)
                acknowledged_ = std::max(acknowledged_, entries().size());
            else
                EXPECT_NE(s.error().kind, ErrorKind::outside) << s.error().message() << told_;
            return;
        }
        int pipe_ends[2];
        ASSERT_EQ(::pipe(pipe_ends), 0);
        const auto before = entries().size();
        const pid_t child = ::fork();
        ASSERT_GE(child, 0);
        if (child == 0) {
            random_.seed(seed);
            const bool ok = bool(something(people_[who].shop));
            const std::size_t n = must(read_job(people_[who].shop, t_.number)).entries.size();
            const std::size_t said = ok ? n : 0;
            const ssize_t written = ::write(pipe_ends[1], &said, sizeof said);
            ::_exit(written == sizeof said ? 0 : 1);
        }
        ::usleep(static_cast<useconds_t>(pick(25'000)));
        ::kill(child, SIGKILL);
        int ended = 0;
        ::waitpid(child, &ended, 0);
        ::close(pipe_ends[1]);
        std::size_t said = 0;
        if (::read(pipe_ends[0], &said, sizeof said) == sizeof said) acknowledged_ = std::max(acknowledged_, said);
        ::close(pipe_ends[0]);
        found_.kills += WIFSIGNALED(ended);
        random_.seed(seed + 1);
        tell(who, entries().size() > before ? "killed, kept" : "killed");
    }

    std::vector<book::Entry> entries() const { return must(read_job(t_.shop, t_.number)).entries; }
    void tell(int who, const std::string& what) {
        told_ += "\n  " + std::string(who ? "B " : "A ") + what;
        const auto all = entries();
        for (std::size_t i = known_.size(); i < all.size(); ++i)
            told_ += "\n    " + std::to_string(all[i].number) + " " + all[i].type + " " + all[i].data.substr(0, 90);
    }

    void invariants() {
        const JobRecord record = must(read_job(t_.shop, t_.number));
        ASSERT_FALSE(record.broken) << record.broken->why << told_;
        ASSERT_GE(record.entries.size(), acknowledged_) << told_;
        for (std::size_t i = 0; i < known_.size(); ++i) ASSERT_EQ(record.entries[i].digest, known_[i]) << told_;
        known_.clear();
        for (const book::Entry& e : record.entries) known_.push_back(e.digest);
        const auto job = job_of(record);
        ASSERT_TRUE(job) << job.error().message() << told_;
        hell::Facts facts = hell::facts_of(record.entries);
        const auto open = job->open_ends();
        std::set<std::string> ids;
        for (const book::LooseEnd& e : open) ids.insert(e.id);
        const std::string n = std::to_string(job->runs.size());
        EXPECT_EQ(facts.runs, job->runs.size()) << told_;
        EXPECT_TRUE(!facts.open || ids.count("run-" + n)) << told_;
        const bool broken_signed = facts.signed_ids.count("run-" + n + "-broken") != 0;
        EXPECT_TRUE(!facts.broken || broken_signed || ids.count("run-" + n + "-broken")) << told_;
        const bool may_be_closed = !facts.ended || facts.proved == "proved" || facts.signed_ids.count("proof");
        EXPECT_TRUE(may_be_closed || ids.count("proof")) << told_;
        if (facts.handed_over_late) ADD_FAILURE() << "a sheet was sealed while a run was open" << told_;
        if (job->runs.empty()) return;
        if (one_in(2)) {  // a look takes as long as the clocks say that the run has gone on
            const Person& p = people_[pick(2)];
            const auto look = look_at_run(p.shop, {t_.number, "", {}});
            ASSERT_TRUE(look) << look.error().message() << told_;
            const Verdict v = look->judgement.verdict();
            EXPECT_TRUE(!facts.against_halt || v == Verdict::halt) << told_;
            EXPECT_FALSE(look->where.safe_to_remove && facts.open) << told_;
            EXPECT_FALSE(look->where.safe_to_remove && facts.broken) << told_;
            const bool doubted = look->where.end_in_doubt ? !look->where.safe_to_remove : v >= Verdict::cant_say;
            EXPECT_TRUE(!facts.ended || !facts.end_impossible || doubted) << told_;
        }
        // What is learnt is only what nothing speaks against: no run that was broken, or whose clock was set.
        const auto own = own_runs_of(t_.shop, "dunnock");
        std::size_t learnt = 0;
        for (const auto& [release, runs] : own) learnt += runs.size();
        EXPECT_LE(learnt, facts.may_teach) << told_;
        EXPECT_TRUE(job->proved != "proved" || (facts.ended && !facts.end_impossible)) << told_;
    }

    // What each answer proposes leads to a sealed sheet, by people who do what they are told.
    void to_the_end() {
        const Workshop& shop = people_[0].shop;
        const auto at_most = 12;
        for (int i = 0; i < at_most && !::testing::Test::HasFailure(); ++i) {
            for (Person& p : people_) p.clock.at += 3'000'000, p.up_s += 3000;
            const auto job = t_.job();
            if (job.is_open_run()) {
                MarkRequest end;
                end.job = t_.number;
                end.event = i < 2 ? "ended" : "broken-off";
                (void)mark_run(shop, end);
                continue;
            }
            for (const book::LooseEnd& e : job.open_ends())
                must(sign_loose_end(shop, {t_.number, e.id, "looked at, stays as it is", "R"}));
            const auto sealed = hand_over(shop, {t_.number, (t_.folder / "out").string(), "check it"});
            if (sealed) {
                ++found_.ended;
                return;
            }
            ASSERT_EQ(sealed.error().code, "loose-ends-open") << sealed.error().message() << told_;
        }
        ADD_FAILURE() << "no way to a sealed sheet" << told_;
    }

    TestJob& t_;
    std::mt19937 random_;
    Found& found_;
    Person people_[2];
    std::size_t acknowledged_ = 0;
    std::vector<std::string> known_;  // digests
    std::string told_;
};

TEST(Hell, NothingIsLostNothingIsBetterThanTheWorstAndThereIsAnEnd) {
    const char* wanted = std::getenv("FETTLE_SEQUENCES");
    const int n = wanted ? std::atoi(wanted) : 1;
    ASSERT_GT(n, 0);
    Found found;
    const char* first = std::getenv("FETTLE_FIRST");
    for (int i = first ? std::atoi(first) : 0; i < n; ++i) {
        TestJob job;
        Sequence s(job, 7919u * static_cast<unsigned>(i) + 1, found);
        s.run();
        if (HasFailure()) {
            ADD_FAILURE() << "sequence " << i << s.told();
            break;
        }
    }
    std::printf("journals from hell: %d sequences, %d acts (%d done, %d refused), %d kills, %d clocks set, %d sealed\n",
                found.sequences, found.acts, found.done, found.refused, found.kills, found.jumps, found.ended);
    EXPECT_GT(found.done, 5 * found.sequences);
    EXPECT_EQ(found.ended, found.sequences);
}

}  // namespace
}  // namespace fettle::workshop
