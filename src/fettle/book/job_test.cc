#include "fettle/book/fold_test_help.h"
#include "fettle/book/tail.h"

namespace fettle::book {
namespace {

TEST(Fold, ReadsTheTakeIn) {
    const Job j = fold("0001X", entries_of({{"opened", R"({"customer":1007,"vehicle":"estate","vin":"V","place":"bench",
        "complaint":"c","housings":2,"boxes":["6104183C5","6402207A4"],"consents":["one-way"],"later":"ignored"})"}}))
                      .value();
    EXPECT_EQ(j.customer, "1007");
    EXPECT_EQ(j.housings, 2);
    EXPECT_EQ(j.plates.at("box 2"), "6402207A4");
    EXPECT_EQ(j.consents, Ids{"one-way"});
    ASSERT_TRUE(j.one_way_doors);  // before there is a plan: to whichever come
    EXPECT_TRUE(j.one_way_doors->empty());
    EXPECT_EQ(j.opened, 1000);
    EXPECT_EQ(j.faults_after.origin, Origin::not_read);
    EXPECT_EQ(j.as_left_origin, Origin::not_read);
}

const std::pair<std::string, std::string> main_read{"faults", R"({"when":"after","place":"bench",
    "origin":"read in part","entries":[{"box":"main","code":"U1402-00","status":"0x2F"}],
    "boxes":[{"box":"main","known":"read","availability":255,"raw":"5902ffd402002f"},
             {"box":"display","known":"not-asked","why":"it was not asked"}]})"};
const std::pair<std::string, std::string> display_read{"faults", R"({"when":"after","place":"bench",
    "origin":"read in part","entries":[{"box":"display","code":"B1A4F-13","status":"0x28"}],
    "boxes":[{"box":"main","known":"not-asked","why":"it was not asked"},
             {"box":"display","known":"read","availability":255,"raw":"5902ff9a4f1328"}]})"};
const std::pair<std::string, std::string> display_silent{"faults", R"({"when":"after","place":"bench",
    "origin":"not read","boxes":[{"box":"display","known":"no-answer","why":"no answer in time"}]})"};

// Two boxes on two transports, read one after the other: taken together, each whole; one that fell silent later keeps
// what was read of it.
TEST(Fold, FaultReadingsOfOneTimeAndPlaceAreTakenTogether) {
    const Job half = folded({begun, done, main_read}).value();
    EXPECT_EQ(half.faults_after.origin, Origin::read_in_part);
    EXPECT_EQ(half.faults_after.unread(), Ids{"display"});
    EXPECT_EQ(ids(half.open_ends()), (Ids{"proof", "faults-after", "fault-main-U1402-00"}));
    const Job both = folded({begun, done, main_read, display_read, display_silent}).value();
    EXPECT_EQ(both.faults_after.origin, Origin::read);
    EXPECT_EQ(both.faults_after.entries.size(), 2u);
    EXPECT_EQ(both.faults_after.boxes.at("main").raw, "5902ffd402002f");
    EXPECT_EQ(both.faults_after.boxes.at("display").availability, 255);
    const auto open = ids(both.open_ends());
    EXPECT_EQ(std::count(open.begin(), open.end(), "faults-after"), 0);
}

// Read again elsewhere: the reading before is kept beside it, to hold one against the other.
TEST(Fold, AReadingInTheVehicleStandsBesideTheBench) {
    const Job j = folded({begun, done, main_read, {"faults", R"({"when":"after","place":"vehicle","origin":"read",
        "entries":[],"boxes":[{"box":"main","known":"read","availability":255,"raw":"5902ff"}]})"}})
                      .value();
    EXPECT_EQ(j.faults_elsewhere.place, Place::bench);
    EXPECT_EQ(j.faults_elsewhere.entries.size(), 1u);
    EXPECT_TRUE(j.faults_after.entries.empty());
    EXPECT_EQ(j.faults_now().place, Place::vehicle);
}

// Between the order and the box's answer the journal says what is certain, and no more.
TEST(Fold, ClearingSaysWhatIsCertainAtEveryInstant) {
    const std::pair<std::string, std::string> order{"clearing", R"({"box":"display","plate":"6402207A4",
        "codes":["B1A4F-13"],"allowed_by":"R. Marsh"})"};
    const std::pair<std::string, std::string> yes{"cleared", R"({"box":"display","answered":true,"done":["B1A4F-13"],
        "answers":[{"request":"149a4f13","said":"value","answer":"54"}]})"};
    const std::pair<std::string, std::string> no{"cleared", R"({"box":"display","answered":true,"done":[],"why":"22",
        "answers":[{"request":"149a4f13","said":"refused"}]})"};
    const std::pair<std::string, std::string> silent{"cleared", R"({"box":"display","answered":false,"done":[],
        "answers":[{"request":"149a4f13","said":"no-answer"}]})"};
    const std::pair<std::string, std::string> again{"faults", R"({"when":"cleared","place":"bench","origin":"read",
        "entries":[{"box":"display","code":"B1A4F-13","status":"0x50"}],
        "boxes":[{"box":"display","known":"read","availability":255,"raw":"5902ff9a4f1350"}]})"};
    const auto open = [](Pairs more) {
        Pairs all{begun, done, main_read, display_read};
        all.insert(all.end(), more.begin(), more.end());
        const Job j = folded(std::move(all)).value();
        const auto list = ids(j.open_ends());
        return std::pair(std::count(list.begin(), list.end(), "clear-display") > 0,
                         std::count(list.begin(), list.end(), "fault-display-B1A4F-13") > 0);
    };
    EXPECT_EQ(open({}), std::pair(false, true));
    EXPECT_EQ(open({order}), std::pair(true, true));
    EXPECT_EQ(open({order, silent}), std::pair(true, true));
    EXPECT_EQ(open({order, no}), std::pair(false, true));
    EXPECT_EQ(open({order, yes}), std::pair(true, true));
    EXPECT_EQ(open({order, yes, again}),
              std::pair(false, false));  // 50 is no fault; that it waits is the commands' to say
    const Job j = folded({begun, done, display_read, order, silent}).value();
    EXPECT_FALSE(j.clearings.at(0).answered);
    EXPECT_EQ(j.clearings.at(0).allowed_by, "R. Marsh");
}

// What a reading says of a clearing that was not answered: listed with bit 4 (ISO 14229-1 D.2) it was cleared; listed
// without it, by a box that has the bit, it was not; not listed, or by a box without the bit, nobody knows.
TEST(Fold, AnUnansweredClearingIsWhatBit4Says) {
    const std::pair<std::string, std::string> order{"clearing", R"({"box":"display","plate":"6402207A4",
        "codes":["B1A4F-13"],"allowed_by":"R. Marsh"})"};
    const auto clearing_after = [&](const std::string& entries, int availability) {
        const std::pair<std::string, std::string> reading{
            "faults", R"({"when":"cleared","place":"bench","origin":"read","entries":[)" + entries +
                          R"(],"boxes":[{"box":"display","known":"read","availability":)" +
                          std::to_string(availability) + R"(,"raw":"59"}]})"};
        const Job j = folded({begun, done, display_read, order, reading}).value();
        const auto open = ids(j.open_ends());
        const book::Clearing& c = j.clearings.at(0);
        return std::tuple(c.done.size(), c.waiting.size(), c.unchanged.size(),
                          std::count(open.begin(), open.end(), "retest-display-B1A4F-13"));
    };
    const std::string at = R"({"box":"display","code":"B1A4F-13","status":)";
    EXPECT_EQ(clearing_after(at + R"("0x50"})", 255), std::tuple(1u, 1u, 0u, 1));
    EXPECT_EQ(clearing_after(at + R"("0x28"})", 255), std::tuple(0u, 0u, 1u, 0));
    EXPECT_EQ(clearing_after(at + R"("0x28"})", 0xEF), std::tuple(0u, 0u, 0u, 1));
    EXPECT_EQ(clearing_after("", 255), std::tuple(0u, 0u, 0u, 1));
}

TEST(Fold, WhatBoxesSaidOfThemselves) {
    const Job j = folded({{"inventory", R"({"when":"before","boxes":[{"box":"main","plate":"6104183C5","serial":"S1",
        "history":["26.4.102"],"installed":[]}]})"},
                          begun,
                          {"inventory", R"({"when":"after","boxes":[{"box":"main"}]})"}})
                      .value();
    EXPECT_EQ(j.said_before.at("main").serial, "S1");
    EXPECT_EQ(*j.said_before.at("main").history, Ids{"26.4.102"});
    EXPECT_TRUE(j.said_before.at("main").pieces->empty());
    EXPECT_FALSE(j.said_after.at("main").pieces);  // not read, which is not none
}

TEST(Fold, MendOpensAndALaterRunCloses) {
    const std::pair<std::string, std::string> broken{"ended", R"({"outcome":"broken off"})"};
    const std::pair<std::string, std::string> advice{"advised", R"({"sentence":"s","no_net":true,"stop":true})"};
    const Job j = folded({begun, broken, advice, {"attempt", R"({"kind":"same card","came":"nothing"})"}}).value();
    EXPECT_EQ(ids(j.open_ends()), (Ids{"run-1-broken", "proof", "no-net", "mend-stop"}));
    EXPECT_EQ(j.runs.back().attempts.at(0).kind, MendKind::same_card);
    EXPECT_EQ(ids(folded({begun, broken, advice, begun, done, proven})->open_ends()), Ids{});
    EXPECT_EQ(ids(folded({begun, broken, advice, {"advised", R"({"sentence":"s"})"}})->open_ends()),
              (Ids{"run-1-broken", "proof"}));
}

TEST(Fold, ReadsThePlanWithItsHands) {
    const Job j =
        folded({{"planned", R"({"to":"27.3.118","from":"27.1.110","as_found_origin":"inferred","verdict":"fit",
        "as_found":[{"box":"main","name":"kernel","version":"27.1.110"}],
        "route":[{"release":"27.3.118","landed":31,"passed_over":9,"refused":0,"total":40,"bytes":12,"p50_s":1080.5,
                  "hands_on":[{"act":"asks","from_s":600,"to_s":900}]}]})"}})
            .value();
    EXPECT_EQ(j.target, "27.3.118");
    ASSERT_EQ(j.plan.size(), 1u);
    EXPECT_EQ(j.plan[0].landed, 31);
    EXPECT_DOUBLE_EQ(j.plan[0].p50_s, 1080.5);
    EXPECT_EQ(j.plan[0].hands_on.at(0).act, "asks");
    EXPECT_EQ(j.as_found.at(0).name, "kernel");
}

// Story 52: the owner's map card stays on the list until it is ticked or signed for.
TEST(Fold, ARunForgetsWhatWasLookedAtBeforeItAndKeepsWhatWasMeasured) {
    const auto answer = [](const char* key, const char* value) {
        return std::pair<std::string, std::string>{
            "answered", std::string(R"({"key":")") + key + R"(","value":")" + value + R"("})"};
    };
    const Job j = folded({answer("slots", "empty"), answer("hold.stick", "yes"), answer("holds", "yes"),
                          answer("bay-door", "open"), answer("supply.volts", "13.5"), answer("knob", "answers"), begun})
                      .value();
    EXPECT_EQ(j.answers, (std::map<std::string, std::string>{{"knob", "answers"}, {"supply.volts", "13.5"}}));
}

TEST(Fold, AReleaseSaidStaysSaidWhenTheListIsTypedAfterIt) {
    const std::pair<std::string, std::string> said{"as-left",
                                                   R"({"origin":"inferred","release":"26.4.102","installed":[]})"};
    const std::pair<std::string, std::string> typed{"as-left", R"({"origin":"typed","installed":[]})"};
    EXPECT_EQ(folded({begun, done, said, typed})->as_left_release, "26.4.102");
    EXPECT_EQ(folded({begun, done, said, typed})->as_left_origin, Origin::typed);
    EXPECT_EQ(folded({begun, done, said, begun, done, typed})->as_left_release, "");
}

TEST(Fold, ALaidCardIsGoodOnlyAfterItsAudit) {
    const std::pair<std::string, std::string> laid{
        "laid", R"({"release":"26.4.102","target":"card.img","digest":"ab","bytes":5,"right":"maker-portal"})"};
    const auto audited = [](const char* verdict) {
        return std::pair<std::string, std::string>{
            "audited",
            std::string(R"({"target":"card.img","release":"26.4.102","digest":"ab","verdict":")") + verdict + "\"}"};
    };
    EXPECT_FALSE(folded({laid})->card_audited_good);
    EXPECT_TRUE(folded({laid, audited("mind")})->card_audited_good);
    EXPECT_FALSE(folded({laid, audited("cant-say")})->card_audited_good);
    EXPECT_FALSE(folded({laid, audited("fit"), laid})->card_audited_good);
}

TEST(Fold, AFurtherCardStandsForItselfAlone) {
    const auto entry = [](const char* type, const char* verdict, int number) {
        return std::pair<std::string, std::string>{
            type,
            std::string(R"({"target":"card.img","release":"26.4.102","digest":"ab","bytes":5,"right":"own-work",)") +
                R"("verdict":")" + verdict + R"(","card_number":)" + std::to_string(number) + "}"};
    };
    const auto first = entry("laid", "fit", 1), second = entry("laid", "fit", 2);
    Job j = folded({first, second, entry("audited", "fit", 2)}).value();
    EXPECT_FALSE(j.card_audited_good);
    EXPECT_TRUE(j.further_cards.at(2).audited_good);
    j = folded({first, entry("audited", "fit", 1), second}).value();
    EXPECT_TRUE(j.card_audited_good);
    EXPECT_FALSE(j.further_cards.at(2).audited_good);
    EXPECT_EQ(j.further_cards.at(2).release, "26.4.102");
    EXPECT_EQ(j.cards.back().number, 2u);
    EXPECT_TRUE(folded({entry("audited", "fit", -3)})->further_cards.empty());
}

TEST(Fold, ACorrectionShowsTheNewWordAndTheOld) {
    const Job j =
        folded(
            {{"corrects", R"({"entry":1,"field":"complaint","value":"Station list empty","why":"misheard","by":"R"})"},
             {"corrects", R"({"entry":1,"field":"boxes.0","value":"6104183C5 ","why":"w","by":"R"})"},
             {"corrects",
              R"({"entry":2,"field":"value","value":"Station list empty after frost","why":"w","by":"R"})"}})
            .value();
    EXPECT_EQ(j.complaint, "Station list empty after frost");
    ASSERT_EQ(j.corrections.size(), 3u);
    EXPECT_EQ(j.corrections[0].before, "Reversing picture freezes");
    EXPECT_EQ(j.corrections[1].before, "6104183C5");
}

TEST(Fold, TheLatestCorrectionOfAFieldStands) {
    const auto correct = [](const char* value) {
        return std::pair<std::string, std::string>{
            "corrects", std::string(R"({"entry":1,"field":"customer","value":)") + value + R"(,"why":"w","by":"R"})"};
    };
    EXPECT_EQ(folded({correct("\"1008\""), correct("\"1009\"")})->customer, "1009");
    EXPECT_EQ(folded({correct("\"1008\""), correct("\"1009\""), correct("1010")})->customer, "1010");
    // Taking a required member away is malformed and names the entry.
    const auto no = folded({correct("null")});
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().place, "entry 1 (opened)");
}

TEST(Fold, UnknownTypesAreCountedAndMalformedOnesNamed) {
    EXPECT_EQ(folded({{"from-the-future", R"({"x":1})"}})->unknown_entries, 1);
    const auto no =
        folded({{"note", R"({"text":"a"})"}, {"planned", R"({"to":"x","as_found_origin":"typed","verdict":"fit",
        "route":[{"release":"x"},{"release":"y","landed":"many"}]})"}});
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().message(),
              "entry 3 (planned), route[1]: \"landed\" must be a whole number. Next: see docs/journal.md; a stated "
              "value can be put right with a correcting entry.");
    EXPECT_FALSE(folded({{"opened", R"({"customer":"1"})"}}));
    EXPECT_FALSE(fold("0001X", entries_of({{"note", R"({"text":"a"})"}})));
}

TEST(CheckEntry, SaysBeforehandWhatFoldWouldRefuse) {
    EXPECT_TRUE(check_entry("note", R"({"text":"a"})"));
    EXPECT_TRUE(check_entry("never-heard-of", "{}"));
    for (const auto& [type, data] :
         Pairs{{"note", "{}"},
               {"note", "[]"},
               {"ended", R"({"outcome":"maybe"})"},
               {"tally", "{}"},
               {"mark", R"({"event":"dark"})"},
               {"faults", R"({"when":"after","origin":"none"})"},
               {"faults", R"({"when":"after","origin":"read","entries":[{"code":"U","status":256}]})"},
               {"ready", R"({"verdict":"good","reasons":[]})"},
               {"corrects", R"({"entry":1,"field":"x","value":"y","why":"z"})"}})
        EXPECT_FALSE(check_entry(type, data)) << type << " " << data;
}

TEST(MembersOf, AreThoseOfTheDocumentation) {
    EXPECT_EQ(members_of("note"), (Ids{"by", "text"}));
    EXPECT_EQ(members_of("faults"), (Ids{"boxes", "entries", "origin", "place", "when"}));
    EXPECT_EQ(members_of("ended"), (Ids{"ago_s", "early", "outcome"}));
    EXPECT_TRUE(members_of("never-heard-of").empty());
}

TEST(Fold, TextsAndTalliesThatWereTakenBackNoLongerStand) {
    const Job j = folded({begun,
                          {"shows", R"({"text":"Writing"})"},
                          {"tally", R"({"landed":3,"to_come":37})"},
                          {"tally", R"({"landed":30})"},
                          {"unmark", R"({"entry":5})"},
                          {"unmark", R"({"entry":3})"}})
                      .value();
    EXPECT_TRUE(j.runs.at(0).shown.empty());
    EXPECT_EQ(j.runs.at(0).tally, (std::map<std::string, int>{{"landed", 3}, {"to_come", 37}}));
    EXPECT_EQ(j.runs.at(0).tallies.size(), 2u);
    EXPECT_TRUE(j.runs.at(0).tallies.at(1).undone);
}

// Wherever a journal is cut in two, going on gives what the whole gives.
TEST(Fold, GoesOnWhereItStopped) {
    const std::vector<Entry> all =
        entries_of({{"opened", R"({"customer":"1007","complaint":"c","boxes":["6104183C5"]})"},
                    {"kept", R"({"id":"keeping-1","words":"a key"})"},
                    begun,
                    {"mark", R"({"event":"dark","source":"tap"})"},
                    {"shows", R"({"text":"Writing"})"},
                    {"unmark", R"({"entry":4})"},
                    {"breach", R"({"hold":"doors","witness":"tap","words":"open"})"},
                    {"never-heard-of", "{}"},
                    done,
                    {"returned", R"({"id":"keeping-1","by":"R"})"},
                    {"note", R"({"text":"n"})"}});
    const auto told = [](const Job& j) {
        std::string out = std::to_string(j.last_number) + " " + std::to_string(j.last_entry) + " " +
                          std::to_string(j.unknown_entries) + " " + j.complaint;
        for (const std::string& n : j.notes) out += " " + n;
        for (const LooseEnd& e : j.loose_ends) out += " " + e.id + (e.open() ? " open" : " " + e.settled_how);
        for (const book::Run& r : j.runs) {
            out += " run " + r.release;
            for (const RunMark& m : r.marks) out += " " + m.event + (m.undone ? " undone" : "");
            for (const std::string& t : r.shown) out += " " + t;
            out += " " + std::to_string(r.breaches.size()) + " " + std::to_string(r.ended.value_or(0));
        }
        return out;
    };
    const std::string whole = told(fold("0001X", all).value());
    EXPECT_NE(whole.find("dark undone Writing 1 9000"), std::string::npos) << whole;
    for (std::size_t cut = 1; cut <= all.size(); ++cut) {
        const auto at = all.begin() + static_cast<std::ptrdiff_t>(cut);
        const Job first = fold("0001X", {all.begin(), at}).value();
        EXPECT_EQ(told(fold_on(first, {at, all.end()}).value()), whole) << cut;
    }
    EXPECT_FALSE(fold_on(fold("0001X", all).value(), {{12, 0, "opened", "{}", "", ""}}));
    EXPECT_FALSE(any_corrects(all));
    EXPECT_TRUE(any_corrects({{12, 0, "corrects", "{}", "", ""}}));
}

}  // namespace
}  // namespace fettle::book
