// The bench book: jobs taken in, listed, shown; what was noted, kept, given back, settled.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/keep_thing.h"
#include "fettle/workshop/loose_ends.h"
#include "fettle/workshop/note_job.h"
#include "fettle/workshop/read_jobs.h"
#include "fettle/workshop/take_in.h"

namespace fettle::show {

Answer taken_in(const workshop::TakenIn& taken);
Answer job_list(const workshop::JobList& list);
// A broken record is said first, and counts as bad input. entries: the journal's entries one by one, too.
Answer job_shown(const workshop::ShownJob& shown, bool entries);

Answer noted(const workshop::Noted& noted);
Answer consented(const workshop::Consented& consented);
Answer corrected(const workshop::Corrected& corrected);
Answer things_kept(const workshop::KeptThings& kept);
Answer thing_returned(const workshop::ReturnedThing& returned);

Answer loose_ends(const workshop::LooseEnds& ends);
Answer end_settled(const workshop::EndDone& done);
Answer end_signed(const workshop::EndDone& done);

}  // namespace fettle::show
