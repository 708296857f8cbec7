mod real;
