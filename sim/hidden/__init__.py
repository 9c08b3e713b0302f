"""The hidden fault: a truck with one root cause, the tests a student can ask for, and the marking of the answer.

causes.py   the root causes: what is changed in the truck or its settings, and what each teaches
key.py      which of them a key hides, and the seal of a session
truck_under_test.py  on the road and on rollers: what each test shows of it; yard.py: a visit to the yard
menu.py     the tests by name: what they need, how long they take, how a reading is judged
record.py   what a session may hold
session.py  what was asked for, when, and what was shown: a plain record that holds no answer
marking.py  which candidates the evidence leaves, the shortest path, points
"""
