-- Who is named as an author is found by the program, which knows capitals of every script; SQL knows ASCII's.
drop view recipe_written_by;
